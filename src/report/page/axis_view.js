// Axis and pole on the sky, and the two moves at the mount, drawn as the person behind the mount sees them.
const CHI_95 = Math.sqrt(5.991464547107979);  // 95 % of a plane Gaussian (chi-squared, two degrees of freedom)

/** Semi-axes and tilt of the 95 % ellipse, in (on-sky azimuth, altitude). */
function ellipseOf(covariance) {
  const [[aa, az], [, zz]] = covariance;
  const mean = (aa + zz) / 2, half = Math.hypot((zz - aa) / 2, az);
  return {
    major: CHI_95 * Math.sqrt(Math.max(0, mean + half)),
    minor: CHI_95 * Math.sqrt(Math.max(0, mean - half)),
    tilt: 0.5 * Math.atan2(2 * az, zz - aa),
  };
}

const NICE_STEPS_ARCMIN = [0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1800];
const angleLabel = (arcmin) => (arcmin >= 60 ? `${arcmin / 60}°` : `${arcmin}′`);

function arrow(x1, y1, x2, y2, className, size = 11) {
  const length = Math.hypot(x2 - x1, y2 - y1);
  if (length < 1) return svg("g");
  const ux = (x2 - x1) / length, uy = (y2 - y1) / length, head = Math.min(size, length);
  const bx = x2 - ux * head, by = y2 - uy * head, w = head * 0.42;
  return svg("g", { class: className },
    svg("line", { x1, y1, x2: bx, y2: by }),
    svg("path", { class: "head", d: `M${x2} ${y2}L${bx - uy * w} ${by + ux * w}L${bx + uy * w} ${by - ux * w}Z` }));
}

/** What to place where: pole at (0, 0), axis at (right, up), in arcminutes as the person sees them. */
function axisPlaces(result, evidence) {
  const side = result.site.latitude_deg >= 0 ? 1 : -1;  // facing south, east is on the left
  const a = result.axis, e = ellipseOf(a.covariance_on_sky_arcmin2);
  return { side, right: side * a.azimuth_error_on_sky_arcmin, up: a.altitude_error_arcmin, ellipse: e,
    tolerance: evidence.tolerance_radius_arcmin ?? null };
}

/** Half-width of the view in arcminutes and its centre: everything that matters fits, the tolerance region if it can. */
function axisWindow(p) {
  const far = Math.hypot(p.right, p.up);
  const round = Math.max(far * 0.72, p.ellipse.major * 1.6, 0.3);
  const region = known(p.tolerance) && p.tolerance < 4 * round ? p.tolerance : 0;
  const left = Math.min(-region, p.right - p.ellipse.major), right = Math.max(region, p.right + p.ellipse.major);
  const low = Math.min(-region, p.up - p.ellipse.major), high = Math.max(region, p.up + p.ellipse.major);
  return { x: (left + right) / 2, y: (low + high) / 2, halfX: Math.max(1.25 * (right - left) / 2, round),
    halfY: Math.max(1.45 * (high - low) / 2, 0.75 * round) };
}

function axisGrid(toX, toY, view, box) {
  const step = NICE_STEPS_ARCMIN.find((s) => view.spanX / s <= 7) ?? 3600;
  const lines = [], labels = [];
  for (let i = Math.ceil((view.x - view.spanX / 2) / step); i * step <= view.x + view.spanX / 2; ++i) {
    const x = toX(i * step);
    lines.push(svg("line", { class: i === 0 ? "grid zero" : "grid", x1: x, x2: x, y1: box.top, y2: box.bottom }));
    if (i !== 0 && x > box.left + 16 && x < box.right - 16)
      labels.push(svg("text", { class: "tick", x, y: box.bottom + 15, "text-anchor": "middle" }, angleLabel(Math.abs(i * step))));
  }
  for (let i = Math.ceil((view.y - view.spanY / 2) / step); i * step <= view.y + view.spanY / 2; ++i) {
    const y = toY(i * step);
    lines.push(svg("line", { class: i === 0 ? "grid zero" : "grid", x1: box.left, x2: box.right, y1: y, y2: y }));
    if (i !== 0 && y > box.top + 12 && y < box.bottom - 12)
      labels.push(svg("text", { class: "tick", x: box.left - 5, y: y + 4, "text-anchor": "end" }, angleLabel(Math.abs(i * step))));
  }
  return svg("g", null, lines, labels);
}

function hatch(id) {
  return svg("defs", null, svg("pattern", { id, width: 9, height: 9, patternUnits: "userSpaceOnUse", patternTransform: "rotate(35)" },
    svg("line", { class: "hatch", x1: 0, y1: 0, x2: 0, y2: 9 })));
}

/** A label with its own backing, kept inside the box. */
function label(text, x, y, anchor, box, className) {
  const width = text.length * 7.6;
  const start = anchor === "middle" ? x - width / 2 : anchor === "end" ? x - width : x;
  const inside = Math.min(Math.max(start, box.left + 4), box.right - 4 - width);
  const low = Math.min(Math.max(y, box.top + 16), box.bottom - 8);
  return svg("text", { class: className ?? "label", x: inside + width / 2, y: low, "text-anchor": "middle" }, text);
}

function drawAxis(result, evidence, width) {
  const p = axisPlaces(result, evidence), w = axisWindow(p);
  const height = Math.round(Math.min(Math.max(width * 0.74, 270), 430));
  const box = { left: 40, right: width - 12, top: 26, bottom: height - 44 };
  const scale = Math.min((box.right - box.left) / (2 * w.halfX), (box.bottom - box.top) / (2 * w.halfY));
  const view = { x: w.x, y: w.y, spanX: (box.right - box.left) / scale, spanY: (box.bottom - box.top) / scale };
  const toX = (v) => (box.left + box.right) / 2 + (v - view.x) * scale;
  const toY = (v) => (box.top + box.bottom) / 2 - (v - view.y) * scale;
  const x = toX(p.right), y = toY(p.up), poleX = toX(0), poleY = toY(0);
  const c = result.correction;
  const north = p.side > 0;
  const parts = [hatch("hatch"), svg("clipPath", { id: "inside" },
    svg("rect", { x: box.left, y: box.top, width: box.right - box.left, height: box.bottom - box.top }))];
  const drawn = svg("g", { "clip-path": "url(#inside)" });
  if (known(p.tolerance))
    drawn.append(svg("circle", { class: "region", cx: poleX, cy: poleY, r: Math.min(p.tolerance * scale, 4000), fill: "url(#hatch)" }));
  parts.push(axisGrid(toX, toY, view, box), drawn,
    svg("rect", { class: "frame", x: box.left, y: box.top, width: box.right - box.left, height: box.bottom - box.top }));
  if (c) {
    drawn.append(arrow(x, y, x, poleY, "move"), arrow(x, poleY, poleX, poleY, "move"));
    const outward = x >= poleX ? 1 : -1, above = y <= poleY ? 1 : -1;
    const room = (v, low, high) => Math.min(Math.max(v, low + 12), high - 12);
    if (Math.abs(y - poleY) > 34) drawn.append(stepMark("1", room(x + 17 * outward, box.left, box.right), (y + poleY) / 2));
    if (Math.abs(x - poleX) > 34) drawn.append(stepMark("2", (x + poleX) / 2, room(poleY + 19 * above, box.top, box.bottom)));
  }
  drawn.append(
    svg("ellipse", { class: "ellipse", rx: p.ellipse.major * scale, ry: p.ellipse.minor * scale,
      transform: `translate(${x} ${y}) rotate(${-p.side * p.ellipse.tilt * 180 / Math.PI})` }),
    svg("path", { class: "axis-dot", d: `M${x} ${y - 7}L${x + 7} ${y}L${x} ${y + 7}L${x - 7} ${y}Z` }),
    svg("path", { class: "pole", d: `M${poleX - 10} ${poleY}h20M${poleX} ${poleY - 10}v20` }));
  const axisAbove = y <= poleY;
  parts.push(label("axis now", x, y + (axisAbove ? -14 : 24), "middle", box, "label strong"),
    label("pole", poleX + (x >= poleX ? -14 : 14), poleY + (axisAbove ? 22 : -12), x >= poleX ? "end" : "start", box, "label strong"),
    svg("text", { class: "side", x: (box.left + box.right) / 2, y: 17, "text-anchor": "middle" }, "↑ up"),
    svg("text", { class: "side", x: box.left, y: height - 8 }, `← left, ${north ? "west" : "east"}`),
    svg("text", { class: "side", x: box.right, y: height - 8, "text-anchor": "end" }, `right, ${north ? "east" : "west"} →`));
  return svg("svg", { viewBox: `0 0 ${width} ${height}`, width, height, "aria-hidden": "true" }, parts);
}
const stepMark = (text, x, y) => svg("g", { class: "step-mark" }, svg("circle", { cx: x, cy: y, r: 10 }),
  svg("text", { x, y: y + 5, "text-anchor": "middle" }, text));

/** The altitude move from the side: the person stands on the left; the angle of the axis is true, the move enlarged. */
function drawTilt(result) {
  const c = result.correction.altitude, up = c.turn === "raise" ? 1 : -1;
  const from = Math.max(8, Math.min(82, result.axis.altitude_deg)) * Math.PI / 180;
  const to = from + up * Math.min(0.42, Math.max(0.22, c.arcmin / 600));
  const cx = 62, cy = 104, r = 78;
  const end = (a, q = r) => [cx + q * Math.cos(a), cy - q * Math.sin(a)];
  const [x1, y1] = end(from), [x2, y2] = end(from, r * 0.86), [x3, y3] = end(to, r * 0.86);
  return svg("svg", { viewBox: "0 0 160 150", class: "small", "aria-hidden": "true" },
    svg("path", { class: "thin", d: "M8 140H152M62 116L40 140M62 116L84 140M62 116V140" }),
    svg("rect", { class: "body", x: 46, y: 104, width: 32, height: 12, rx: 2 }),
    svg("line", { class: "shaft", x1: cx, y1: cy, x2: x1, y2: y1 }),
    svg("path", { class: "thin dashed", d: `M${cx} ${cy}L${end(to).join(" ")}` }),
    svg("path", { class: "move", d: `M${x2} ${y2}A${r * 0.86} ${r * 0.86} 0 0 ${up > 0 ? 0 : 1} ${x3} ${y3}` }),
    headAt(x3, y3, to + up * Math.PI / 2), person(18, 112, 1));
}

/** The turn of the base from above: the pole is at the top, the person at the bottom. */
function drawTurn(result) {
  const right = result.correction.azimuth.hand === "right" ? 1 : -1;
  const north = result.site.latitude_deg >= 0;
  const cx = 80, cy = 74, r = 46, turn = 0.75;
  const place = (a, q) => [cx + q * Math.sin(a), cy - q * Math.cos(a)];
  const [x1, y1] = place(-right * 0.1, r + 11), [x2, y2] = place(right * turn, r + 11);
  return svg("svg", { viewBox: "0 0 160 150", class: "small", "aria-hidden": "true" },
    svg("circle", { class: "body", cx, cy, r }),
    svg("path", { class: "thin", d: `M${cx} ${cy - r}V${cy + r}M${cx - r} ${cy}H${cx + r}` }),
    svg("line", { class: "shaft", x1: cx, y1: cy, x2: cx, y2: cy - r + 4 }),
    svg("path", { class: "move", d: `M${x1} ${y1}A${r + 11} ${r + 11} 0 0 ${right > 0 ? 1 : 0} ${x2} ${y2}` }),
    headAt(x2, y2, right > 0 ? -turn : Math.PI + turn),
    svg("text", { class: "side", x: cx, y: 13, "text-anchor": "middle" }, north ? "N" : "S"),
    svg("text", { class: "side", x: 6, y: cy + 5 }, north ? "W" : "E"),
    svg("text", { class: "side", x: 154, y: cy + 5, "text-anchor": "end" }, north ? "E" : "W"),
    person(cx, 132, 0));
}
/** Arrow head at a point; `direction` counter-clockwise from the right. */
function headAt(x, y, direction) {
  const p = (a, q) => `${x + q * Math.cos(a)} ${y - q * Math.sin(a)}`;
  return svg("path", { class: "head", d: `M${p(direction, 9)}L${p(direction + 2.2, 7)}L${p(direction - 2.2, 7)}Z` });
}
/** The person: from the side standing, from above head and shoulders. */
function person(x, y, standing) {
  return standing
    ? svg("g", { class: "person" }, svg("circle", { cx: x, cy: y - 8, r: 5 }), svg("path", { d: `M${x} ${y - 3}V${y + 14}M${x} ${y + 14}L${x - 5} ${y + 28}M${x} ${y + 14}L${x + 5} ${y + 28}M${x} ${y + 2}L${x + 10} ${y + 8}` }))
    : svg("g", { class: "person" }, svg("ellipse", { cx: x, cy: y, rx: 14, ry: 6 }), svg("circle", { cx: x, cy: y - 1, r: 5 }));
}

function axisInWords(result, evidence) {
  const a = result.axis, north = result.site.latitude_deg >= 0;
  const high = a.altitude_error_arcmin >= 0 ? "above" : "below";
  const east = a.azimuth_error_arcmin >= 0, right = east === north;
  const region = known(evidence.tolerance_radius_arcmin)
    ? ` The hatched region reaches ${arcminutes(evidence.tolerance_radius_arcmin)} from the pole.` : "";
  return `The axis stands ${arcminutes(a.altitude_error_arcmin)} ${high} the pole and, on the sky, ` +
    `${arcminutes(a.azimuth_error_on_sky_arcmin)} to its ${right ? "right" : "left"}, towards ${east ? "east" : "west"}.${region}`;
}

function axisKey(result, evidence) {
  const e = ellipseOf(result.axis.covariance_on_sky_arcmin2), x = result.exposure;
  const rows = [
    [keyMark("key-axis", "M8 1L15 8L8 15L1 8Z"), `axis now, with the region that holds it with 95 % certainty (±${e.major.toFixed(1)}′ by ±${e.minor.toFixed(1)}′; drawn true to scale, so it may hide behind the mark)`],
    [keyMark("key-pole", "M1 8H15M8 1V15"), result.axis.reference_pole === "refracted" ? "pole, where refraction shows it" : "true pole, without refraction"],
  ];
  const inside = Math.hypot(...["altitude_error_arcmin", "azimuth_error_on_sky_arcmin"].map((k) => result.axis[k])) < evidence.tolerance_radius_arcmin;
  if (known(evidence.tolerance_radius_arcmin) && x)
    rows.push([keyMark("key-region", "M1 1H15V15H1Z"), `hatched: with the axis in here (${arcminutes(evidence.tolerance_radius_arcmin)} around the pole) no star trails by more than ${x.tolerance_px} px in ${duration(x.planned_s)}, wherever you point, as long as the rate is right${inside ? "; the axis is inside" : "; the axis is outside"}`]);
  if (result.correction) rows.push([keyMark("key-move", "M1 8H10M15 8L9 4V12Z"), "the two moves, altitude first"]);
  return el("ul", { class: "key" }, rows.map((r) => el("li", null, ...r)));
}
const keyMark = (className, d) => svg("svg", { class: `key-mark ${className}`, viewBox: "0 0 16 16", "aria-hidden": "true" }, svg("path", { d }));

function axisSection(result, evidence) {
  const host = el("div", { class: "drawing", role: "img", "aria-label": axisInWords(result, evidence) });
  responsive(host, (width) => host.replaceChildren(drawAxis(result, evidence, width)));
  section("axis", el("figure", null, host, el("figcaption", null, axisKey(result, evidence))));
}

/** The two moves as pictures, to stand beside the instruction. */
function movePictures(result) {
  const c = result.correction;
  return {
    altitude: el("div", { role: "img", class: "move-picture", "aria-label": `From the side: the axis is ${c.altitude.turn === "raise" ? "raised" : "lowered"}. Move drawn enlarged.` }, drawTilt(result)),
    azimuth: el("div", { role: "img", class: "move-picture", "aria-label": `From above: the base turns ${c.azimuth.hand === "right" ? "clockwise, to the right" : "anticlockwise, to the left"}. Move drawn enlarged.` }, drawTurn(result)),
  };
}
