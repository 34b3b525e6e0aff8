// The frame with what was found in it: stars, flags, motion, and the star to move.
const MOST_MARKS = 500;
const LAYERS = [["stars", "identified stars"], ["doubtful", "unidentified and flagged"], ["motion", "motion of the stars"], ["target", "star to move"]];

/** A magnification people can say, with which the longest arrow fills most of its cell. */
function niceFactor(wanted) {
  const power = 10 ** Math.floor(Math.log10(wanted));
  return [5, 2, 1].map((m) => m * power).find((v) => v <= wanted) ?? power;
}

function markShape(mark, x, y) {
  if (mark.kind === "identified") return svg("circle", { class: "star", cx: x, cy: y, r: 5.5 });
  if (mark.kind === "flagged") return svg("path", { class: "flag", d: `M${x - 5} ${y - 5}l10 10m0 -10l-10 10` });
  return svg("path", { class: "stray", d: `M${x - 4} ${y - 4}h8v8h-8z` });
}

function starLayers(view, scale, width) {
  const known_ = svg("g", { class: "layer-stars" }), doubtful = svg("g", { class: "layer-doubtful" });
  const taken = [];
  view.marks.slice(0, MOST_MARKS).forEach((m) => {
    const x = (m.x + 0.5) * scale, y = (m.y + 0.5) * scale, identified = m.kind === "identified";
    const shape = markShape(m, x, y);
    shape.append(svg("title", null, [m.name, known(m.v_magnitude) ? `magnitude ${m.v_magnitude.toFixed(1)}` : "", m.why || m.kind].filter(Boolean).join(", ")));
    (identified ? known_ : doubtful).append(shape);
    const room = taken.every(([tx, ty]) => Math.abs(tx - x) > 90 || Math.abs(ty - y) > 16);
    if (identified && m.name && room && taken.length < 10) {
      taken.push([x, y]);
      const leftward = x > width - 90;
      known_.append(svg("text", { class: "star-name", x: x + (leftward ? -9 : 9), y: y + 4, "text-anchor": leftward ? "end" : "start" }, m.name));
    }
  });
  return [doubtful, known_];
}

function motionFactor(view, scale) {
  const longest = Math.max(...view.motion.map((m) => Math.hypot(m.dx, m.dy)));
  const cell = view.width_px * scale / Math.sqrt(view.motion.length * 1.5);
  return longest > 0 ? niceFactor(0.8 * cell / (longest * scale)) : null;
}
function motionLayer(view, scale, factor) {
  const layer = svg("g", { class: "layer-motion" });
  if (factor)
    for (const m of view.motion)
      layer.append(arrow(m.x * scale, m.y * scale, (m.x + m.dx * factor) * scale, (m.y + m.dy * factor) * scale, "motion", 8));
  return layer;
}

function targetLayer(target, scale, width, height) {
  const layer = svg("g", { class: "layer-target" });
  const p = [target.from_px, target.after_altitude_px, target.to_px].map(([x, y]) => [x * scale, y * scale]);
  layer.append(arrow(...p[0], ...p[1], "path"), arrow(...p[1], ...p[2], "path"),
    svg("circle", { class: "now", cx: p[0][0], cy: p[0][1], r: 10 }), svg("path", { class: "now", d: `M${p[2][0] - 10} ${p[2][1] - 10}h20v20h-20z` }));
  const words = ["now", "after 1", "after 2"];
  const close = Math.hypot(p[1][0] - p[2][0], p[1][1] - p[2][1]) < 24;
  p.forEach(([x, y], i) => {
    if (i === 1 && close) return;
    const leftward = x > width - 80, above = i === 0 ? y > 30 : y > height - 20;
    layer.append(svg("text", { class: "target-name", x: x + (leftward ? -13 : 13), y: above ? y - 13 : y + 22, "text-anchor": leftward ? "end" : "start" }, words[i]));
  });
  return layer;
}

function motionCaption(view, factor) {
  if (!factor) return null;
  const longest = Math.max(...view.motion.map((m) => Math.hypot(m.dx, m.dy)));
  const minutes = factor >= 1 ? factor : null;
  const drawn = minutes ? `${duration(minutes * 60)} of motion` : `${duration(factor * 60)} of motion`;
  return el("li", null, keyMark("key-motion", "M1 8H10M15 8L9 4V12Z"), `arrows: how the stars move while you expose; each arrow is ${drawn} at the frame's own scale (fastest ${longest.toFixed(2)} px a minute)`);
}

function frameInWords(view, target) {
  const n = view.counts;
  let text = `Frame of ${view.width_px} by ${view.height_px} pixels, brightened. ${count(n.identified, "star")} identified, ${n.unidentified} not, ${n.flagged} flagged.`;
  if (target) text += ` ${target.star || "The chosen star"} is now at ${target.from_px.map(Math.round).join(", ")} and belongs at ${target.to_px.map(Math.round).join(", ")}.`;
  return text;
}

/** The figure: picture, layers that can be switched, legend. */
function frameFigure(view, target) {
  const host = el("div", { class: "photo", role: "img", "aria-label": frameInWords(view, target) });
  const img = view.picture ? el("img", { src: view.picture, alt: "", width: view.width_px, height: view.height_px }) : null;
  const layers = el("div", { class: "layers" });
  fill(host, null, [el("div", { class: "tint" }, img), layers]);
  const factorNote = el("ul", { class: "key" });
  responsive(host, (width) => {
    const scale = width / view.width_px, height = view.height_px * scale;
    const factor = view.motion.length ? motionFactor(view, scale) : null;
    layers.replaceChildren(svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, "aria-hidden": "true" },
      starLayers(view, scale, width), motionLayer(view, scale, factor), target ? targetLayer(target, scale, width, height) : null));
    factorNote.replaceChildren(...frameKey(view, target, factor));
  });
  const present = new Set(["stars", "doubtful", ...(view.motion.length ? ["motion"] : []), ...(target ? ["target"] : [])]);
  const switches = LAYERS.filter(([id]) => present.has(id)).map(([id, text]) => el("label", null,
    el("input", { type: "checkbox", checked: true, onchange: (e) => layers.classList.toggle(`hide-${id}`, !e.target.checked) }), ` ${text}`));
  return el("figure", null, el("fieldset", { class: "switches" }, el("legend", null, "Show"), switches), host, el("figcaption", null, factorNote));
}

function frameKey(view, target, factor) {
  const shown = Math.min(MOST_MARKS, view.marks.length);
  const all = view.counts.identified + view.counts.unidentified + view.counts.flagged;
  const items = [
    el("li", null, keyMark("key-star", "M8 2A6 6 0 1 0 8 14A6 6 0 1 0 8 2Z"), "identified star"),
    el("li", null, keyMark("key-stray", "M3 3H13V13H3Z"), "looks like a star, not in the table"),
    el("li", null, keyMark("key-flag", "M2 2L14 14M14 2L2 14"), "flagged, not used as a star"),
    motionCaption(view, factor),
    target ? el("li", null, keyMark("key-target", "M3 3H13V13H3Z"), quoted(target.star || "chosen star"), ` now, after move 1 (altitude), and after move 2 (base), camera untouched on its head: bring it from (${target.from_px.map((v) => v.toFixed(0)).join(", ")}) to (${target.to_px.map((v) => v.toFixed(0)).join(", ")})`) : null,
    shown < all ? el("li", null, `the brightest ${shown} of ${all} detections are marked`) : null,
  ];
  return items.filter(Boolean);
}

function frameSection(view, target) {
  section("frame", el("p", { class: "how" }, quoted(view.file), ", downscaled and brightened; rows as the file stores them."), frameFigure(view, target));
}
