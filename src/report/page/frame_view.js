// The frame with what was found in it: stars, flags, motion, and the star to move.
const MOST_MARKS = 500;
/** As many marks as the picture can hold without hiding the stars. */
const marksFor = (width, height) => Math.max(40, Math.min(MOST_MARKS, Math.round(width * height / 1700)));
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

function starLayers(view, scale, width, most) {
  const known_ = svg("g", { class: "layer-stars" }), doubtful = svg("g", { class: "layer-doubtful" });
  const taken = [], names = [];
  view.marks.slice(0, most).forEach((m) => {
    const x = (m.x + 0.5) * scale, y = (m.y + 0.5) * scale, identified = m.kind === "identified";
    const shape = markShape(m, x, y);
    shape.append(svg("title", null, [m.name, known(m.v_magnitude) ? `magnitude ${m.v_magnitude.toFixed(1)}` : "", m.why || m.kind].filter(Boolean).join(", ")));
    (identified ? known_ : doubtful).append(shape);
    const room = taken.every(([tx, ty]) => Math.abs(tx - x) > 90 || Math.abs(ty - y) > 16);
    if (identified && m.name && room && taken.length < most / 40) {
      taken.push([x, y]);
      const leftward = x > width - 90;
      names.push(svg("text", { class: "star-name", x: x + (leftward ? -9 : 9), y: y + 4, "text-anchor": leftward ? "end" : "start" }, m.name));
    }
  });
  known_.append(...names);  // over the marks
  return [doubtful, known_];
}

/** How many times larger than in the planned exposure (or in a minute) the motion is drawn. */
function motionScale(view, scale) {
  const longest = Math.max(...view.motion.map((m) => Math.hypot(m.dx, m.dy)));
  const cell = view.width_px * scale / Math.sqrt(view.motion.length * 1.5);
  const minutes = view.planned_s ? view.planned_s / 60 : 1;
  return longest > 0 ? { minutes, longest: longest * minutes, times: niceFactor(0.8 * cell / (longest * minutes * scale)) } : null;
}
function motionLayer(view, scale, drawn) {
  const layer = svg("g", { class: "layer-motion" });
  if (!drawn) return layer;
  const k = drawn.minutes * drawn.times * scale;
  const back = view.motion_sense_known ? 0 : 0.5;  // a line without a sense lies about its place
  for (const m of view.motion) {
    const x = m.x * scale, y = m.y * scale, dx = m.dx * k, dy = m.dy * k;
    layer.append(view.motion_sense_known ? arrow(x, y, x + dx, y + dy, "motion", 8)
      : svg("g", { class: "motion" }, svg("line", { x1: x - back * dx, y1: y - back * dy, x2: x + back * dx, y2: y + back * dy })));
  }
  return layer;
}

const targetPoints = (target) => [target.from_px, target.after_altitude_px, target.to_px];

/** The three places of the star to move, with their words, in whatever scale `place` gives. */
function targetMarks(target, place, width, named) {
  const p = targetPoints(target).map(place);
  const marks = [arrow(...p[0], ...p[1], "path"), arrow(...p[1], ...p[2], "path"),
    svg("circle", { class: "now", cx: p[0][0], cy: p[0][1], r: 9 }), svg("path", { class: "now", d: `M${p[2][0] - 9} ${p[2][1] - 9}h18v18h-18z` })];
  if (named) {
    const middle = (p[0][0] + p[2][0]) / 2, highest = Math.min(...p.map((q) => q[1]));
    ["now", "after 1", "after 2"].forEach((word, i) => {
      const leftward = i === 1 ? p[1][0] < p[2][0] : p[i][0] < middle;
      const x = p[i][0] + (leftward ? -13 : 13), inside = leftward ? x > 62 : x < width - 62;
      marks.push(svg("text", { class: "target-name", x: inside ? x : p[i][0], y: inside ? p[i][1] + 5 : p[i][1] + (p[i][1] === highest ? -14 : 26),
        "text-anchor": inside ? (leftward ? "end" : "start") : "middle" }, word));
    });
  }
  return svg("g", { class: "layer-target" }, marks);
}

/** A loupe in the corner away from the star, since its way is often too short to see on the whole frame. */
function targetLoupe(view, target, scale, width, height) {
  const p = targetPoints(target), xs = p.map((q) => q[0]), ys = p.map((q) => q[1]);
  const centre = [(Math.min(...xs) + Math.max(...xs)) / 2, (Math.min(...ys) + Math.max(...ys)) / 2];
  const reach = Math.max(Math.max(...xs) - Math.min(...xs), Math.max(...ys) - Math.min(...ys));
  const side = Math.round(Math.min(0.42 * width, 0.62 * height, 250));
  const zoom = Math.min(side / (2.4 * Math.max(reach, 8)), 9);
  if (zoom < 1.6 * scale) return null;  // large enough as it is
  const loupe = el("div", { class: "loupe" });
  loupe.style.width = loupe.style.height = `${side}px`;
  loupe.style[centre[0] * scale > width / 2 ? "left" : "right"] = "0";
  loupe.style[centre[1] * scale > height / 2 ? "top" : "bottom"] = "0";
  const place = ([x, y]) => [side / 2 + (x - centre[0]) * zoom, side / 2 + (y - centre[1]) * zoom];
  const ground = el("div", { class: "loupe-ground" });
  if (view.picture) {
    ground.style.backgroundImage = `url("${view.picture}")`;
    ground.style.backgroundSize = `${view.width_px * zoom}px auto`;
    const [left, top] = place([-0.5, -0.5]);
    ground.style.backgroundPosition = `${left}px ${top}px`;
  }
  return fill(loupe, null, [ground, svg("svg", { viewBox: `0 0 ${side} ${side}`, width: side, height: side, "aria-hidden": "true" }, targetMarks(target, place, side, true))]);
}

function motionCaption(view, drawn) {
  if (!drawn) return null;
  const what = view.motion_sense_known
    ? `arrows: how far the stars move in ${duration(drawn.minutes * 60)}`
    : `lines: the trails of ${duration(drawn.minutes * 60)}; one frame does not tell which end came first`;
  return el("li", null, keyMark("key-motion", view.motion_sense_known ? "M1 8H10M15 8L9 4V12Z" : "M1 8H15"),
    `${what}, drawn ${drawn.times.toLocaleString("en")} times longer than they are (longest ${drawn.longest.toFixed(drawn.longest < 1 ? 2 : 1)} px)`);
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
  fill(host, null, [img, layers]);
  const factorNote = el("ul", { class: "key" });
  responsive(host, (width) => {
    const scale = width / view.width_px, height = view.height_px * scale;
    const drawn = view.motion.length ? motionScale(view, scale) : null;
    const most = Math.min(marksFor(width, height), view.marks.length);
    const place = ([x, y]) => [(x + 0.5) * scale, (y + 0.5) * scale];
    const loupe = target ? targetLoupe(view, target, scale, width, height) : null;
    layers.replaceChildren(svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, "aria-hidden": "true" },
      starLayers(view, scale, width, most), motionLayer(view, scale, drawn), target ? targetMarks(target, place, width, !loupe) : null), loupe ?? "");
    factorNote.replaceChildren(...frameKey(view, target, drawn, most, loupe));
  });
  const present = new Set(["stars", "doubtful", ...(view.motion.length ? ["motion"] : []), ...(target ? ["target"] : [])]);
  const switches = LAYERS.filter(([id]) => present.has(id)).map(([id, text]) => el("label", null,
    el("input", { type: "checkbox", checked: true, onchange: (e) => layers.classList.toggle(`hide-${id}`, !e.target.checked) }), ` ${text}`));
  return el("figure", null, el("fieldset", { class: "switches" }, el("legend", null, "Show"), switches), host, el("figcaption", null, factorNote));
}

function frameKey(view, target, drawn, shown, loupe) {
  const all = view.counts.identified + view.counts.unidentified + view.counts.flagged;
  const coordinates = (p) => `(${p.map((v) => v.toFixed(0)).join(", ")})`;
  const items = [
    el("li", null, keyMark("key-star", "M8 2A6 6 0 1 0 8 14A6 6 0 1 0 8 2Z"), "identified star"),
    el("li", null, keyMark("key-stray", "M4 4H12V12H4Z"), "looks like a star, not among those in the star table"),
    el("li", null, keyMark("key-flag", "M2 2L14 14M14 2L2 14"), "flagged, not used as a star"),
    motionCaption(view, drawn),
    target ? el("li", null, keyMark("key-target", "M2 2H14V14H2Z"), quoted(capital(target.star || "chosen star")), ` now (ring), after move 1 (altitude), after move 2 (base, square), camera untouched on its head: bring it from ${coordinates(target.from_px)} to ${coordinates(target.to_px)}${loupe ? "; enlarged in the corner" : ""}`) : null,
    shown < all ? el("li", null, `the brightest ${shown} of ${all} detections are marked`) : null,
  ];
  return items.filter(Boolean);
}

function frameSection(view, target) {
  section("frame", el("p", { class: "how" }, quoted(view.file), ", downscaled and brightened; rows as the file stores them."), frameFigure(view, target));
}
