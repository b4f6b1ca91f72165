// HTML from the kernel. What is pressed is reported; what has the focus, and what was scrolled,
// stays so when a piece is drawn anew. The widgets around it get names and states that a screen
// reader can tell, which they have not by themselves.

const same = (one, other) =>
  one.dataset.do === other.dataset.do && one.dataset.what === other.dataset.what;

function draw(place, html) {
  const active = place.contains(document.activeElement) ? document.activeElement : null;
  const scrolled = [...place.querySelectorAll("[data-scrolls]")]
    .map(each => [each.dataset.scrolls, each.scrollLeft, each.scrollTop, each.open]);
  const marked = place.querySelector(".marked")?.getAttribute("x");
  place.innerHTML = html;
  for (const each of place.querySelectorAll("[data-scrolls]")) {
    const old = scrolled.find(([name]) => name === each.dataset.scrolls);
    if (old) [, each.scrollLeft, each.scrollTop, each.open] = old;
  }
  show_mark(place.querySelector(".marked"), marked);
  if (active) {
    [...place.querySelectorAll("[data-do], [data-scrolls]")]
      .find(each => same(each, active) && each.dataset.scrolls === active.dataset.scrolls)
      ?.focus({ preventScroll: true });
  }
}

// A mark that lies elsewhere than before is scrolled to, sideways.
function show_mark(mark, before) {
  if (!mark || mark.getAttribute("x") === before) return;
  const [chart, own] = [mark.closest("[data-scrolls]"), mark.getBoundingClientRect()];
  const { left, right } = chart.getBoundingClientRect();
  if (own.left < left || own.right > right) chart.scrollLeft += own.left - left - 60;
}

function name(view, tips) {
  for (const row of view.querySelectorAll(".widget-inline-hbox")) {
    const control = row.querySelector("select, input"); // it has no title, as it has a label
    const label = [...row.querySelectorAll("label")].find(each => each.textContent.trim() in tips);
    if (control && label) control.title = tips[label.textContent.trim()];
  }
  for (const each of view.querySelectorAll(":is(.noUi-handle, .widget-readout):not([aria-label])")) {
    const label = each.closest(".widget-inline-hbox")?.querySelector(".widget-label");
    if (!label) continue;
    if (each.isContentEditable) each.setAttribute("role", "textbox"); // a number can be typed
    each.setAttribute("aria-label", label.textContent);
  }
  for (const button of view.querySelectorAll(".arrange-heard button"))
    button.setAttribute("aria-pressed", button.classList.contains("mod-info"));
  view.querySelectorAll("audio").forEach(each => each.setAttribute("aria-label", "player"));
}

// The title of the control that has the focus, below it; Escape takes it away (WCAG 2.2, 1.4.13).
function tell(view) {
  const tip = document.createElement("div");
  tip.className = "tip";
  tip.setAttribute("aria-hidden", "true"); // a screen reader reads the title itself
  view.addEventListener("focusin", ({ target }) => {
    tip.remove();
    if (!target.title || !target.matches(":focus-visible")) return;
    tip.textContent = target.title;
    view.append(tip);
    const [own, all] = [target.getBoundingClientRect(), view.getBoundingClientRect()];
    const left = Math.min(own.left - all.left, all.width - tip.offsetWidth);
    tip.style.cssText = `left: ${left}px; top: ${own.bottom - all.top + 4}px`;
  });
  view.addEventListener("focusout", () => tip.remove());
  view.addEventListener("keydown", event => { if (event.key === "Escape") tip.remove(); });
}

function look_after(el, tips) {
  const view = el.closest(".arrange-live");
  if (!view) return requestAnimationFrame(() => look_after(el, tips));
  view.setAttribute("data-lm-suppress-shortcuts", "true"); // keys are ours here, not JupyterLab's
  const watch = { subtree: true, childList: true, attributes: true, attributeFilter: ["class"] };
  new MutationObserver(() => name(view, tips)).observe(view, watch);
  name(view, tips);
  tell(view);
}

function render({ model, el }) {
  const drawn = [];
  const show = () => {
    model.get("pieces").forEach((html, at) => {
      if (drawn[at] === html) return;
      if (at >= el.children.length) el.append(document.createElement("div"));
      draw(el.children[at], html);
      drawn[at] = html;
    });
  };
  el.addEventListener("click", event => {
    const pressed = event.target.closest("[data-do]");
    if (pressed) model.send({ do: pressed.dataset.do, what: pressed.dataset.what });
  });
  model.on("change:pieces", show);
  show();
  look_after(el, model.get("tips"));
}

export default { render };
