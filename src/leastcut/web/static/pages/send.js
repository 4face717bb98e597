// Photos go in pieces, so that a dropped connection costs the last piece and not the photo.
const PIECE = 256 * 1024;
const pause = (seconds) => new Promise((done) => setTimeout(done, 1000 * seconds));

async function ask(path, options, say) {
  for (let wait = 1; ; wait = Math.min(2 * wait, 15)) {
    try {
      const answer = await fetch(path, options());
      if (answer.ok) return await answer.json();
      if (answer.status < 500 && answer.status !== 409 && answer.status !== 429) throw await answer.json();
    } catch (error) {
      if (error && (error.do || error.what || error.why)) throw error;
    }
    say();
    await pause(wait);
  }
}

async function send(file, form, show) {
  const token = form.querySelector("[name=csrf]").value;
  const headers = { "Content-Type": "application/json", "X-Leastcut-CSRF": token };
  const again = () => show(null, form.dataset.again);
  const begun = await ask(
    "/api/uploads",
    () => ({ method: "POST", headers, body: JSON.stringify({ name: file.name, bytes: file.size }) }),
    again,
  );
  const place = `/api/uploads/${begun.upload}`;
  let have = 0;
  while (have < file.size) {
    show((100 * have) / file.size, form.dataset.sending);
    const piece = file.slice(have, have + PIECE);
    try {
      const answer = await fetch(`${place}?at=${have}`, {
        method: "PUT",
        headers: { "X-Leastcut-CSRF": token, "Content-Type": "application/octet-stream" },
        body: piece,
      });
      if (!answer.ok && answer.status !== 409 && answer.status < 500) throw await answer.json();
      have = (await answer.json()).have;
    } catch (error) {
      if (error && (error.do || error.what || error.why)) throw error;
      again();
      await pause(1);
      have = (await ask(place, () => ({}), again)).have;
    }
  }
  show(100, form.dataset.sending);
  const body = JSON.stringify({ visit: Number(form.dataset.visit) });
  return (await ask(`${place}/finish`, () => ({ method: "POST", headers, body }), again)).file;
}

for (const form of document.querySelectorAll("form[data-upload]")) {
  const state = form.querySelector(".sending");
  const show = (percent, words) => {
    state.hidden = false;
    state.querySelector("p").textContent = words;
    if (percent !== null) state.querySelector("progress").value = percent;
  };
  form.addEventListener("submit", async (event) => {
    const inputs = [...form.querySelectorAll("input[type=file]")].filter((input) => input.files.length);
    if (!inputs.length) return;
    event.preventDefault();
    const button = form.querySelector("button.main");
    button.disabled = true;
    try {
      for (const input of inputs) {
        const digest = await send(input.files[0], form, show);
        const held = document.createElement("input");
        Object.assign(held, { type: "hidden", name: input.name, value: digest });
        input.disabled = true;
        form.append(held);
      }
      form.submit();
    } catch (error) {
      show(0, [error.why ?? error.what, error.do].filter(Boolean).join(". "));
      button.disabled = false;
    }
  });
}
