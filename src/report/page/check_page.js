// `check`: the night as timelines, one chosen frame at full size, and a list to sort, filter and carry away.
const VERDICTS = ["sharp", "soft", "trailed", "unusable"];
const VERDICT_SHAPE = { sharp: "disc", soft: "ring", trailed: "triangle", unusable: "cross" };
const verdictMark = (v) => keyMark(`key-${VERDICT_SHAPE[v] ?? "disc"} verdict-${v}`, KEY_PATHS[VERDICT_SHAPE[v] ?? "disc"]);

/** What a frame is called: its file's name, or, where two frames share one, the path below the folder common to all. */
function frameNames(files) {
  const last = (file) => file.slice(file.lastIndexOf("/") + 1);
  if (new Set(files.map(last)).size === files.length) return last;
  const common = files.reduce((a, b) => { let n = 0; while (n < a.length && a[n] === b[n]) ++n; return a.slice(0, n); });
  return (file) => file.slice(common.lastIndexOf("/") + 1);
}

/** What the parts of the page share: which frame is chosen and who wants to know. */
function makeNight(result) {
  const frames = result.frames, listeners = [];
  const dated = frames.some((f) => known(f.mid_time_utc));
  // Without any time the frames stand in their order; with times, a frame without one is in the list only.
  const time = frames.map((f, i) => (dated ? (known(f.mid_time_utc) ? Date.parse(f.mid_time_utc) : null) : i));
  const order = frames.map((_, i) => i).filter((i) => known(time[i])).sort((a, b) => time[a] - time[b]);
  for (let k = 1; k < order.length; ++k)  // equal times would fall onto one point
    if (time[order[k]] <= time[order[k - 1]]) time[order[k]] = time[order[k - 1]] + (dated ? 1 : 1e-6);
  const night = {
    frames, time, order, dated, chosen: -1,
    nameOf: frameNames(frames.map((f) => f.file)),
    onchange: (f) => listeners.push(f),
    choose: (i) => {
      if (!known(frames[i]) || i === night.chosen) return;
      night.chosen = i;
      listeners.forEach((f) => f(i));
    },
    nearest: (x) => order.reduce((best, i) => (Math.abs(time[i] - x) < Math.abs(time[best] - x) ? i : best), order[0]),
  };
  return night;
}

function checkAnswer(result) {
  const s = result.summary, bad = s.trailed + s.unusable, q = result.sequence;
  fill(byId("answer-head"), null, bad === 0 ? [s.soft === 0 ? "Every frame is sharp" : "No frame is trailed"]
    : [figure(result, "summary.trailed", String), " of ", figure(result, "summary.frames", String), s.trailed === 1 ? " frames is trailed" : " frames are trailed"]);
  section("answer", el("ul", { class: "tally" }, VERDICTS.map((v) => el("li", { class: s[v] ? "" : "none" }, verdictMark(v), figure(result, `summary.${v}`, String, "big"), el("span", null, v)))));
  const main = q?.causes[0], many = (result.sequences ?? []).length > 1;
  if (main) section("answer", el("p", { class: "message" }, `${many ? "Largest sequence: mostly" : "Mostly"} ${main.cause}. `, el("span", { class: "detail" }, `${capital(main.evidence)}.`.replace(/\.\.$/, "."))));
  // Only where it says something: the steady motion alone may allow more than was shot while other things trail the stars.
  if (known(q?.longest_sharp_s) && known(q.exposure_s) && q.longest_sharp_s < q.exposure_s) section("answer", el("p", null, "The steady motion (axis, rate, worm) stays within the accepted trail up to ", figure(result, "sequence.longest_sharp_s", duration, "mid"), known(q.trailed_saved_by_longest_sharp) ? `; such exposures would have saved ${Math.round(100 * q.trailed_saved_by_longest_sharp)} % of the trailed frames.` : "."));
}

/** Other cameras, exposures, pointings and evenings, a line each: the page goes into the largest sequence only. */
function otherSequences(result) {
  const all = result.sequences ?? [], most = 20;
  if (all.length < 2) return;
  const line = (q, i) => {
    const own = result.frames.filter((f) => f.sequence === i), from = own.map((f) => f.mid_time_utc).filter(known).sort()[0];
    const bad = own.filter((f) => f.verdict === "trailed" || f.verdict === "unusable").length;
    return el("li", null, `${own.length} ${own.length === 1 ? "frame" : "frames"}${known(q.exposure_s) ? ` of ${duration(q.exposure_s)}` : ""}${from ? ` from ${utc(from)}` : ""}: ${bad} trailed or unusable${q.causes.length ? `, mostly ${q.causes[0].cause}` : ""}`);
  };
  section("basis", el("h3", null, `${all.length} sequences`),
    el("p", { class: "how" }, "Cameras, exposures, pointings and evenings are told apart. Causes, drift and axis on this page are those of the first."),
    el("ul", null, all.slice(0, most).map(line), all.length > most ? el("li", null, `and ${all.length - most} more`) : null));
}

/** The sequence's axis in the same drawing as after an alignment. */
function checkAxis(sequence) {
  if (!sequence?.axis || !sequence.site) return;
  const c = sequence.correction, north = sequence.site.latitude_deg >= 0;
  if (c) {
    c.azimuth.hand ??= (c.azimuth.turn === "east") === north ? "right" : "left";
    section("axis", el("p", { class: "message" }, `${capital(c.altitude.turn)} the axis ${degrees(c.altitude.arcmin)}, turn the base ${degrees(c.azimuth.base_arcmin)} to the ${c.azimuth.hand}, towards ${c.azimuth.turn}, as you stand behind the mount facing the pole (${north ? "north" : "south"}).`));
  }
  axisSection(sequence, {});
}

const METRICS = [
  { key: "trail_px", sigma: "trail_sigma_px", title: "Trail, px", fromZero: true, tall: true },
  { key: "fwhm_px", title: "Star width, px" },
  { key: "stars", title: "Stars found", fromZero: true },
  { key: "sky_adu", title: "Sky, sample units" },
  { key: "roll_arcmin", sigma: "roll_sigma_arcmin", title: "Roll since the first frame, arcminutes" },
];

function strokeLine(ctx, from, to, dash, tone, width) {
  ctx.save();
  ctx.strokeStyle = colour(tone);
  ctx.lineWidth = width;
  ctx.setLineDash(dash);
  ctx.beginPath();
  ctx.moveTo(...from);
  ctx.lineTo(...to);
  ctx.stroke();
  ctx.restore();
}
function chartWord(ctx, word, x, y, align) {
  ctx.save();
  ctx.fillStyle = colour("--ink");
  ctx.font = "13px system-ui, sans-serif";
  ctx.textAlign = align;
  ctx.fillText(word, x, y);
  ctx.restore();
}

/** Lines behind a chart: where the pointing stepped, and what is accepted. */
function nightBackdrop(result, night, options) {
  const index = new Map(night.frames.map((f, i) => [f.file, i]));
  const steps = (result.sequence?.steps ?? []).map((s) => {
    const k = night.order.indexOf(index.get(s.after_file));
    return k >= 0 && k + 1 < night.order.length ? { x: (night.time[night.order[k]] + night.time[night.order[k + 1]]) / 2, kind: s.kind } : null;
  }).filter(Boolean);
  return (ctx, area, g) => {
    steps.forEach((s) => {
      const px = g.toDomXCoord(s.x), late = px > area.x + area.w - 70;
      strokeLine(ctx, [px, area.y], [px, area.y + area.h], [3, 4], "--bad", 1.6);
      if (options.tall) chartWord(ctx, s.kind, px + (late ? -5 : 5), area.y + 13, late ? "right" : "left");
    });
    if (known(options.accepted)) {
      const py = g.toDomYCoord(options.accepted);
      strokeLine(ctx, [area.x, py], [area.x + area.w, py], [8, 5], "--line", 1.4);
      chartWord(ctx, `you accept ${options.accepted} px`, area.x + area.w - 4, py - 5, "right");
    }
  };
}

/** One series per sequence, so that no line joins frames of different cameras or pointings. */
function bySequence(night, make) {
  const ids = [...new Set(night.order.map((i) => night.frames[i].sequence ?? 0))];
  return ids.map((id) => make(night.order.filter((i) => (night.frames[i].sequence ?? 0) === id), ids.length > 1 ? ` ${id + 1}` : ""));
}
function nightSeries(night, metric) {
  return bySequence(night, (members, suffix) => ({ name: metric.title + suffix, tone: "--ink", line: true,
    points: (row) => VERDICT_SHAPE[night.frames[night.order[row]].verdict] ?? "disc",
    rows: members.map((i) => [night.time[i], night.frames[i][metric.key], metric.sigma ? night.frames[i][metric.sigma] : 0]) }));
}

/** What the steady drift and the leaps found say for the first sequence: the first frame's place is where they start. */
function foundCourse(result, night, name, perMinute, leap) {
  const q = result.sequence;
  if (!night.dated || !known(perMinute)) return [];
  const members = night.order.filter((i) => (night.frames[i].sequence ?? 0) === 0);
  let sum = 0;
  const rows = members.map((i) => {
    const row = [night.time[i], perMinute * (night.time[i] - night.time[members[0]]) / 60000 + sum, 0];
    q.steps.filter((s) => s.after_file === night.frames[i].file).forEach((s) => { sum += leap(s) ?? 0; });
    return row;
  });
  return [{ name, rows, line: true, dash: true, tone: "--line" }];
}

function shiftSeries(result, night) {
  const one = (axis, name, tone, points, dash) => bySequence(night, (members, suffix) => ({ name: name + suffix, tone, points, dash, line: true,
    rows: members.map((i) => [night.time[i], night.frames[i].shift_px ? night.frames[i].shift_px[axis] : null, night.frames[i].shift_sigma_px ?? 0]) }));
  const d = result.sequence?.drift;
  return [...foundCourse(result, night, "found along the rows", d?.x_px_per_min, (s) => s.shift_px?.[0]),
    ...foundCourse(result, night, "found down the columns", d?.y_px_per_min, (s) => s.shift_px?.[1]),
    ...one(0, "along the rows", "--ink", "disc", false), ...one(1, "down the columns", "--accent", "square", false)];
}

function nightSection(result, night) {
  const slider = el("input", { type: "range", min: 0, max: Math.max(0, night.order.length - 1), value: 0, "aria-label": "Frame of the night", oninput: (e) => night.choose(night.order[Number(e.target.value)]) });
  const position = () => night.order.indexOf(night.chosen);
  const move = (step) => night.choose(night.order[Math.min(night.order.length - 1, Math.max(0, position() + step))]);
  const nextBad = () => {
    const from = position();
    for (let k = 1; k <= night.order.length; ++k) {
      const i = night.order[(from + k) % night.order.length];
      if (night.frames[i].verdict === "trailed" || night.frames[i].verdict === "unusable") return night.choose(i);
    }
  };
  const host = section("night",
    el("p", { class: "how" }, hasCharts() ? "Choose a frame: click in a chart, move the slider, or pick a name in the list below. Drag across a chart to look closer, double-click to go back." : "Choose a frame with the slider or in the list below."),
    el("div", { class: "stepper" }, el("button", { type: "button", onclick: () => move(-1), "aria-label": "Frame before" }, "◂"), slider,
      el("button", { type: "button", onclick: () => move(1), "aria-label": "Frame after" }, "▸"), el("button", { type: "button", onclick: nextBad }, "Next trailed")),
    el("ul", { class: "key inline" }, VERDICTS.map((v) => el("li", null, verdictMark(v), v))));
  night.onchange((i) => { slider.value = String(night.order.indexOf(i)); slider.setAttribute("aria-valuetext", `${clock(night.frames[i].mid_time_utc)}, ${night.frames[i].verdict}`); });
  if (hasCharts()) nightCharts(host, result, night);
}

function nightCharts(host, result, night) {
  const graphs = [];
  const grid = el("div", { class: "strips" });
  host.append(grid);
  const strip = (title, series, options) => {
    const area = el("div", { class: "chart", role: "img", "aria-label": `${title} against time; the list below holds the figures.` });
    grid.append(el("figure", { class: options.tall ? "tall" : "" }, el("h3", null, title), area));
    queueMicrotask(() => graphs.push(chart(area, series, { time: night.dated, below: nightBackdrop(result, night, options), onpick: (x) => night.choose(night.nearest(x)), height: options.tall ? 220 : 150, fromZero: options.fromZero })));
    if (options.legend) area.append(seriesKey(options.legend));
  };
  const has = (key) => night.frames.some((f) => known(f[key]));
  const roll = foundCourse(result, night, "found roll", result.sequence?.drift?.roll_arcmin_per_min, (s) => s.roll_arcmin);
  METRICS.filter((m) => has(m.key)).forEach((m) => strip(m.title, [...(m.key === "roll_arcmin" ? roll : []), ...nightSeries(night, m)], m.key === "trail_px" ? { ...m, accepted: result.tolerance_px } : m));
  if (has("shift_px")) strip("Shift since the first frame, px", shiftSeries(result, night), { tall: true, legend: [["disc", "along the rows"], ["square", "down the columns"], ...(result.sequence?.drift ? [["dash", "steady drift and leaps as found, from the first frame on"]] : [])] });
  queueMicrotask(() => {
    const cursors = graphs.map(cursorOf), place = () => cursors.forEach((c) => c(night.time[night.chosen]));
    zoomTogether(graphs, place);
    night.onchange(place);
  });
}

const CROP_PLACES = ["middle", "top left", "top right", "bottom left", "bottom right"];
function chosenSection(night, evidence) {
  const body = el("div", { "aria-live": "polite" });
  section("chosen", body);
  night.onchange((i) => {
    const f = night.frames[i], crop = evidence.crops?.[i];
    const told = [["Verdict", [verdictMark(f.verdict), ` ${f.verdict}`]], ["Cause", f.cause ?? "none"], f.why ? ["Why", f.why] : null, ["Trail", known(f.trail_px) ? `${trailWords(f.trail_px, f.trail_sigma_px)} px at ${plain(f.trail_angle_deg ?? 0, 0)}°` : "unknown"],
      ["Star width", known(f.fwhm_px) ? `${f.fwhm_px.toFixed(2)} px` : "unknown"], ["Stars", String(f.stars ?? "unknown")], ["Flags", (f.flags ?? []).join(", ") || "none"]];
    body.replaceChildren(el("p", null, quoted(f.file), `, ${utc(f.mid_time_utc)}`),
      el("div", { class: "chosen" }, cropGrid(crop, evidence.crop_px), el("dl", null, told.filter(Boolean).map(([k, v]) => [el("dt", null, k), el("dd", null, v)]))));
  });
}

/** Pieces of the frame pixel for pixel, each where it lies: corners in the corners, middle in the middle. */
function cropGrid(strip, size) {
  if (!strip) return el("p", { class: "how" }, "No picture of this frame was kept.");
  const cells = CROP_PLACES.map((place, k) => {
    const cell = el("div", { class: `crop cell-${k}`, role: "img", "aria-label": `${place}, pixel for pixel` });
    cell.style.width = cell.style.height = `${size}px`;
    cell.style.backgroundImage = `url("${strip}")`;
    cell.style.backgroundPosition = `-${k * size}px 0`;
    return cell;
  });
  return el("figure", { class: "crops" }, el("div", { class: "crop-grid" }, cells), el("figcaption", { class: "how" }, "middle and corners, pixel for pixel"));
}

const COLUMNS = [
  { title: "Time", value: (f) => f.mid_time_utc ?? "", cell: (f) => clock(f.mid_time_utc) },
  { title: "Verdict", value: (f) => VERDICTS.indexOf(f.verdict), cell: (f) => [verdictMark(f.verdict), ` ${f.verdict}`, f.cause ? el("span", { class: "narrow-only" }, f.cause) : null] },
  { title: "Cause", value: (f) => f.cause ?? "", cell: (f) => f.cause, wide: true },
  { title: "Trail px", value: (f) => f.trail_px, cell: (f) => (known(f.trail_px) ? trailWords(f.trail_px, f.trail_sigma_px) : null) },
  { title: "Width px", value: (f) => f.fwhm_px, cell: (f) => (known(f.fwhm_px) ? f.fwhm_px.toFixed(2) : null), wide: true },
  { title: "Stars", value: (f) => f.stars, cell: (f) => (known(f.stars) ? String(f.stars) : null), wide: true },
  { title: "Sky", value: (f) => f.sky_adu, cell: (f) => (known(f.sky_adu) ? f.sky_adu.toFixed(0) : null), wide: true },
  { title: "File", value: (f) => f.file, cell: null },
];

function frameRow(night, i) {
  const f = night.frames[i];
  const name = el("button", { type: "button", class: "link", onclick: () => night.choose(i) }, quoted(night.nameOf(f.file)));
  const row = el("tr", { onclick: (e) => { if (e.target.closest("button") === null) night.choose(i); } },
    COLUMNS.map((c) => el("td", { class: c.wide ? "wide-only" : null }, c.cell ? c.cell(f) ?? "–" : name)));
  return row;
}

function compareBy(column, night, direction) {
  return (a, b) => {
    const x = column.value(night.frames[a]), y = column.value(night.frames[b]);
    if (!known(x) || !known(y)) return known(x) ? -1 : known(y) ? 1 : a - b;  // unknown goes last either way
    return direction * (typeof x === "string" ? x.localeCompare(y) : x - y) || a - b;
  };
}

function listSection(night) {
  const rows = night.frames.map((_, i) => frameRow(night, i));
  const body = el("tbody", null, rows), shownCount = el("output", null), exportNote = el("p", { class: "how" });
  const filter = { verdicts: new Set(VERDICTS), cause: "", name: "" };
  const passes = (f) => filter.verdicts.has(f.verdict) && (filter.cause === "" || f.cause === filter.cause) && f.file.toLowerCase().includes(filter.name);
  const shown = () => night.sorted.filter((i) => passes(night.frames[i]));
  const apply = () => {
    night.frames.forEach((f, i) => { rows[i].hidden = !passes(f); });
    shownCount.textContent = `${shown().length} of ${count(night.frames.length, "frame")} shown`;
  };
  night.sorted = night.frames.map((_, i) => i);
  const causes = [...new Set(night.frames.map((f) => f.cause).filter(known))].sort();
  const controls = el("div", { class: "filters" },
    el("fieldset", { class: "switches" }, el("legend", null, "Show"), VERDICTS.map((v) => el("label", null, el("input", { type: "checkbox", checked: true, "data-verdict": v,
      onchange: (e) => { filter.verdicts[e.target.checked ? "add" : "delete"](v); apply(); } }), " ", verdictMark(v), ` ${v}`))),
    el("label", null, "Cause ", el("select", { onchange: (e) => { filter.cause = e.target.value; apply(); } }, el("option", { value: "" }, "any"), causes.map((c) => el("option", { value: c }, c)))),
    el("label", null, "Name holds ", el("input", { type: "search", oninput: (e) => { filter.name = e.target.value.toLowerCase(); apply(); } })),
    el("button", { type: "button", id: "save-list", onclick: () => exportList(shown().map((i) => night.frames[i].file), exportNote) }, "Save these names as a list"));
  const sortBy = (column, header) => {
    const direction = header.getAttribute("aria-sort") === "ascending" ? -1 : 1;
    heads.forEach((h) => h.removeAttribute("aria-sort"));
    header.setAttribute("aria-sort", direction > 0 ? "ascending" : "descending");
    night.sorted.sort(compareBy(column, night, direction));
    body.append(...night.sorted.map((i) => rows[i]));
  };
  const heads = COLUMNS.map((c) => {
    const header = el("th", { scope: "col", class: c.wide ? "wide-only" : null });
    header.append(el("button", { type: "button", class: "sort", onclick: () => sortBy(c, header) }, c.title));
    return header;
  });
  section("list", controls, el("p", null, shownCount), exportNote,
    el("div", { class: "wide tall-list", tabindex: "0", role: "region", "aria-label": "All frames" },
      el("table", { class: "frames" }, el("caption", null, "All frames; the headings sort"), el("thead", null, el("tr", null, heads)), body)));
  night.onchange((i) => rows.forEach((r, k) => { if (k === i) r.setAttribute("aria-current", "true"); else r.removeAttribute("aria-current"); }));
  apply();
}

/** One name a line; a name that itself holds a line break cannot be written that way and is left out, aloud. */
function exportList(names, note) {
  const fit = names.filter((n) => !/[\r\n]/.test(n));
  note.textContent = fit.length === names.length ? `${count(fit.length, "name")} saved.`
    : `${count(fit.length, "name")} saved; ${names.length - fit.length} left out because the name holds a line break.`;
  save("frames.txt", fit.map((n) => `${n}\n`).join(""), "text/plain");
}

function sequenceSection(result) {
  const q = result.sequence, rows = [], nameOf = frameNames(result.frames.map((f) => f.file));
  if (!q) return;
  if (known(q.drift_px_per_min)) rows.push(["Drift", figure(result, "sequence.drift_px_per_min", (v) => `${v.toFixed(3)} px a minute`)]);
  if (q.rate) rows.push(["Tracking rate over sidereal", [figure(result, "sequence.rate.ratio", (v) => plusMinus(v, q.rate.ratio_sigma)), `, ${q.rate.matches}`]]);
  if (q.axis) rows.push(["Axis to pole", figure(result, "sequence.axis.total_error_arcmin", (v) => `${plusMinus(v, q.axis.total_error_sigma_arcmin)}′`)]);
  const p = q.periodic_error, notes = [q.axis_message, ...(q.notes ?? []), ...(result.warnings ?? [])].filter(known);
  if (p && known(p.amplitude_arcsec)) rows.push(["Periodic error", [figure(result, "sequence.periodic_error.amplitude_arcsec", (v) => `${v.toFixed(1)}″`), " every ", figure(result, "sequence.periodic_error.period_s", (v) => `${v.toFixed(0)} s`)]]);
  q.steps.forEach((s) => rows.push([capital(s.kind), ["after ", quoted(nameOf(s.after_file)), known(s.shift_px) ? `, ${stepSize(s.shift_px)} px` : ""]]));
  section("basis", rows.length ? wideTable("The night as a whole", ["What", "Figure"], rows) : null,
    el("p", { class: "how" }, "Each frame is judged by its own stars; shift and roll follow the star pattern from frame to frame. A frame is called trailed when its motion during the exposure exceeds what you accept, whatever the lens itself does to the corners."),
    notes.length ? [el("h3", null, "What limits them"), el("ul", null, notes.map((w) => el("li", null, quoted(w))))] : null);
}
const stepSize = (s) => (Array.isArray(s) ? Math.hypot(...s) : s).toFixed(1);

function checkPage(result, evidence) {
  document.title = "polewright: the night";
  document.body.classList.add("whole-night");
  byId("kind").textContent = "a night";
  const first = result.frames.find((f) => known(f.mid_time_utc));
  byId("when").textContent = first ? first.mid_time_utc.slice(0, 10) : "";
  checkAnswer(result);
  if (result.frames.length) {
    const night = makeNight(result);
    nightSection(result, night);
    chosenSection(night, evidence);
    listSection(night);
    const worst = result.frames.findIndex((f) => f.verdict === "trailed");
    queueMicrotask(() => night.choose(worst >= 0 ? worst : night.order[0] ?? 0));
  }
  checkAxis(result.sequence);
  if (result.sequence) causesSection(result.sequence.causes);
  sequenceSection(result);
  otherSequences(result);
}
