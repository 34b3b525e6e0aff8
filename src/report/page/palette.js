// Runs before the first paint, so that a page remembered as red never flashes white.
(() => {
  const KEY = "polewright.palette";
  const remembered = () => {
    try {
      return localStorage.getItem(KEY);
    } catch {
      return null;  // a browser may forbid storage to files
    }
  };
  const dark = window.matchMedia("(prefers-color-scheme: dark)").matches;
  const show = (name) => document.documentElement.setAttribute("data-palette", name);
  show(remembered() ?? (dark ? "night" : "day"));
  window.polewrightPalette = {
    current: () => document.documentElement.getAttribute("data-palette"),
    choose: (name) => {
      show(name);
      try {
        localStorage.setItem(KEY, name);
      } catch {
        // the choice then holds for this page only
      }
    },
  };
})();
