"use strict";

// In a block of its own, beside the script that plays the song.
{
  const root = document.documentElement;
  const dark = matchMedia("screen and (prefers-color-scheme: dark)");
  const follow = () => root.classList.toggle("theme-dark", dark.matches);
  dark.addEventListener("change", follow);
  follow();

  /** Move a strip sideways, so that the bar that sounds is seen. */
  const show = (bar) => {
    const strip = bar.closest(".chart");
    const { left, right } = bar.getBoundingClientRect();
    const edges = strip.getBoundingClientRect();
    if (left < edges.left || right > edges.right) strip.scrollLeft += left - edges.left - 16;
  };
  new MutationObserver((changes) => {
    for (const { target } of changes) if (target.matches(".bar.is-sounding")) show(target);
  }).observe(root, { subtree: true, attributeFilter: ["class"] });
}
