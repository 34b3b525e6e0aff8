// Elements are built, never parsed: text from files can only ever become text.
const SVG = "http://www.w3.org/2000/svg";

function fill(node, attributes, children) {
  for (const [name, value] of Object.entries(attributes ?? {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== ""));
  return node;
}
const el = (tag, attributes, ...children) => fill(document.createElement(tag), attributes, children);
const svg = (tag, attributes, ...children) => fill(document.createElementNS(SVG, tag), attributes, children);
const byId = (id) => document.getElementById(id);

/** Shows the section and adds to it. */
function section(id, ...children) {
  const node = byId(id);
  node.hidden = false;
  fill(node, null, children);
  return node;
}

/** Text from a file: kept apart from its surroundings, so that right-to-left marks cannot reorder the page. */
const quoted = (text) => el("bdi", { class: "name" }, String(text).replace(/[\u0000-\u001f\u007f\u202a-\u202e\u2066-\u2069]/g, "\ufffd"));

/** Calls draw(width) now and whenever the node's width changes. */
function responsive(node, draw) {
  let drawn = 0;
  const redraw = () => {
    const width = Math.round(node.clientWidth);
    if (width > 0 && width !== drawn) draw((drawn = width));
  };
  new ResizeObserver(redraw).observe(node);
}

function save(name, text, type) {
  const url = URL.createObjectURL(new Blob([text], { type }));
  el("a", { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 10000);
}

/** A plain table; cells are text, numbers or nodes. */
function table(caption, head, rows) {
  return el("table", null, el("caption", null, caption),
    el("thead", null, el("tr", null, head.map((h) => el("th", { scope: "col" }, h)))),
    el("tbody", null, rows.map((row) => el("tr", null,
      row.map((cell, i) => (i === 0 ? el("th", { scope: "row" }, cell) : el("td", null, cell ?? "–")))))));
}
/** The same inside a box that scrolls by itself, never the page. */
const wideTable = (caption, head, rows) =>
  el("div", { class: "wide", tabindex: "0", role: "region", "aria-label": caption }, table(caption, head, rows));
