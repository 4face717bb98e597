// The large keypad writes into the reading's field; the phone's own keyboard and its dictation still can.
for (const pad of document.querySelectorAll("[data-pad]")) {
  const field = document.getElementById(pad.dataset.pad);
  pad.hidden = false;
  if (matchMedia("(pointer: coarse)").matches) field.removeAttribute("autofocus");
  pad.addEventListener("click", (event) => {
    const digit = event.target.closest("button")?.dataset.digit;
    if (digit === undefined) return;
    field.value = digit ? field.value + digit : field.value.slice(0, -1);
  });
}
