// Shows the frame that the kernel sends, changes what is different in each new state, and reports
// what is pressed. All words come from the kernel.
function byName(el, name) {
  return new Map([...el.querySelectorAll(`[data-${name}]`)].map(each => [each.dataset[name], each]));
}

function patch(el, { cells, places, shown }, state) {
  for (const [key, [kind, sign, words, pressed]] of Object.entries(state.cells)) {
    if (shown[key] === kind + sign + words) continue;
    shown[key] = kind + sign + words;
    const cell = cells.get(key);
    cell.className = kind;
    cell.lastChild.textContent = sign;
    cell.setAttribute("aria-label", words);
    cell.setAttribute("title", words);
    cell.setAttribute("aria-pressed", pressed);
    if (kind === "silent") cell.setAttribute("aria-disabled", "true");
  }
  for (const [key, html] of Object.entries(state.parts)) {
    if (shown[key] === html) continue;
    shown[key] = html;
    const place = places.get(key);
    const had = place.contains(document.activeElement) ? document.activeElement : null;
    place.innerHTML = html;
    if (had?.dataset.do)
      place.querySelector(`[data-do="${had.dataset.do}"][data-player="${had.dataset.player}"]`)?.focus();
  }
  for (const [key, is] of Object.entries(state.controls)) {
    const control = el.querySelector(`.row [data-do="${key}"]`);
    if (is.pressed !== undefined) control.setAttribute("aria-pressed", is.pressed);
    if (is.off !== undefined) control.setAttribute("aria-disabled", is.off);
  }
  el.querySelectorAll(".here").forEach(each => each.classList.remove("here"));
  const [section, layer] = state.at;
  el.querySelector(`thead [data-section="${section}"]`).parentElement.classList.add("here");
  const now = cells.get(`${section}-${layer}`);
  el.querySelectorAll('tbody [tabindex="0"]').forEach(each => { each.tabIndex = -1; });
  now.tabIndex = 0;
  now.classList.add("here");
}

const STEPS = { ArrowUp: [0, -1], ArrowDown: [0, 1], ArrowLeft: [-1, 0], ArrowRight: [1, 0] };

function render({ model, el }) {
  // JupyterLab has commands of its own on arrows, digits and Enter.
  el.dataset.lmSuppressShortcuts = "true";
  let known;
  const start = () => {
    el.innerHTML = model.get("frame");
    known = { cells: byName(el, "cell"), places: byName(el, "part"), shown: {} };
  };
  start();
  model.on("change:frame", start);
  const say = () => { known.places.get("progress").textContent = model.get("progress"); };
  model.on("change:progress", say);
  const fields = () => Object.fromEntries(
    [...el.querySelectorAll("[data-field]")].map(each => [each.dataset.field, each.value]));
  const send = (what, more) => model.send({ ...what, fields: fields(), ...more });

  el.addEventListener("click", event => {
    const control = event.target.closest("[data-do]");
    if (control && control.getAttribute("aria-disabled") !== "true") send({ ...control.dataset });
    else if (control?.dataset.cell) send({ ...control.dataset }, { do: "go" });
  });
  el.addEventListener("keydown", event => {
    const cell = event.target.closest("[data-cell]");
    if (!cell || event.ctrlKey || event.metaKey || event.altKey) return;
    const [section, layer] = cell.dataset.cell.split("-").map(Number);
    const step = STEPS[event.key];
    if (step) {
      const next = known.cells.get(`${section + step[0]}-${layer + step[1]}`);
      if (next) {
        next.focus();
        send({ do: "go", ...next.dataset }, { do: "go" });
      }
    } else if (/^[0-9]$/.test(event.key) || event.key === "Delete" || event.key === "Backspace") {
      send({ ...cell.dataset }, { do: "give", player: Number(event.key) || 0 });
    } else return;
    event.preventDefault();
  });
  model.on("msg:custom", (message, buffers) => {
    if (message.clear) {
      el.querySelector(`[data-field="${message.clear}"]`).value = "";
      return;
    }
    const sound = el.querySelector("audio");
    if (sound.src) URL.revokeObjectURL(sound.src);
    sound.src = URL.createObjectURL(new Blob([buffers[0]], { type: "audio/wav" }));
    sound.play().catch(() => {});  // a browser may want a press of its own
  });
  model.on("change:state", () => patch(el, known, model.get("state")));
  patch(el, known, model.get("state"));
  say();
}

export default { render };
