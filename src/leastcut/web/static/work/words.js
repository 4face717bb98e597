// Our texts in the reader's language. The English text is the key; {name} stands for a value; a text
// with | has a form for one and a form for more, chosen by n.

let known = {};

export function speak(words) {
  known = words ?? {};
}

export function _(text, values = {}) {
  const [one, more] = (known[text] ?? text).split("|");
  const chosen = more === undefined || values.n === 1 ? one : more;
  return chosen.replace(/\{(\w+)\}/g, (hole, name) => (name in values ? String(values[name]) : hole));
}
