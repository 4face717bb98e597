// One question at a time, in large letters; Escape or the last answer changes nothing.

export function h(tag, given = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(given)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value !== false && value !== null) made.setAttribute(name, value === true ? "" : value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

/** Put nodes into a place, only where something changed: what has the focus keeps it. */
export function fill(place, ...nodes) {
  const made = h("div", {}, ...nodes);
  if (place.innerHTML === made.innerHTML) return false;
  const focused = place.contains(document.activeElement) ? document.activeElement.dataset.id : null;
  place.replaceChildren(...made.childNodes);
  if (focused) place.querySelector(`[data-id="${CSS.escape(focused)}"]`)?.focus();
  return true;
}

/** Ask; returns the value of the answer that was tapped, null where none was. */
export function ask(title, body, answers) {
  const dialog = document.getElementById("ask");
  document.getElementById("ask-title").textContent = title;
  document.getElementById("ask-body").replaceChildren(...body);
  return new Promise((done) => {
    let said = null;
    const buttons = answers.map(({ value, label, main }) =>
      h("button", { type: "button", class: main ? "big" : null, "data-answer": value, onclick: () => { said = value; dialog.close(); } }, label),
    );
    document.getElementById("ask-answers").replaceChildren(...buttons);
    dialog.onclose = () => done(said);
    dialog.showModal();
    dialog.scrollTop = 0;
    (buttons.find((button) => button.className) ?? buttons[0]).focus({ preventScroll: true });
  });
}
