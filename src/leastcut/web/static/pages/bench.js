// What every page may do with script: sliders, and parts that renew themselves while work goes on.
// Without it every page still works.

for (const input of document.querySelectorAll(".slide input")) {
  const pair = input.closest("figure")?.querySelector(".both");
  const show = () => pair?.style.setProperty("--cut", `${input.value}%`);
  input.addEventListener("input", show);
  show();
}

// What somebody has begun to type or send is never thrown away by a page that renews itself.
let touched = false;
for (const kind of ["input", "change", "submit"]) {
  document.addEventListener(kind, (event) => (touched ||= !event.target.closest?.(".slide")), true);
}

// <section id=… data-renew=2> is fetched again every two seconds until the server leaves it out.
function renew(id, seconds) {
  setTimeout(async () => {
    try {
      const answer = await fetch(location.href, { headers: { "X-Renew": id } });
      if (answer.redirected) {
        location.replace(answer.url);
        return;
      }
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const old = document.getElementById(id);
      const now = page.getElementById(id);
      if (!old || !now) return;
      if (!now.dataset.renew && !touched) {
        location.reload();
        return;
      }
      if (old.innerHTML !== now.innerHTML) old.innerHTML = now.innerHTML;
      if (!now.dataset.renew) {
        document.getElementById("fresh")?.removeAttribute("hidden");
        return;
      }
    } catch {
      // the server is away: ask again later
    }
    renew(id, seconds);
  }, 1000 * seconds);
}
for (const part of document.querySelectorAll("[data-renew]")) {
  renew(part.id, Number(part.dataset.renew));
}

// A form sent once is not sent twice by a second tap.
for (const form of document.querySelectorAll("form[method=post]")) {
  form.addEventListener("submit", (event) => {
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = "yes";
    setTimeout(() => delete form.dataset.sent, 4000);
  });
}

// A slider says its number.
for (const output of document.querySelectorAll("output[for]")) {
  const input = document.getElementById(output.htmlFor.value);
  const show = () => (output.textContent = input.value);
  input.addEventListener("input", show);
  show();
}
