// `align`: the instruction, whether it is good enough, and the evidence.
const facing = (result) => (result.site.latitude_deg >= 0 ? "north" : "south");

function altitudeStep(result, picture) {
  const c = result.correction.altitude;
  return el("li", null, el("div", null,
    el("p", { class: "step" }, c.turn === "raise" ? "Raise the axis " : "Lower the axis ", figure(result, "correction.altitude.arcmin", degrees, "big")),
    el("p", { class: "detail" }, figure(result, "correction.altitude.arcmin", arcminutes),
      known(c.screw_turns) ? [", ", figure(result, "correction.altitude.screw_turns", (v) => v.toFixed(2)), " turns of the altitude screw"] : null)), picture);
}

function azimuthStep(result, picture) {
  const c = result.correction.azimuth;
  return el("li", null, el("div", null,
    el("p", { class: "step" }, "Turn the base ", figure(result, "correction.azimuth.base_arcmin", degrees, "big"), " ", el("span", { class: "hand" }, `to the ${c.hand}`)),
    el("p", { class: "detail" }, `towards ${c.turn}, as you stand behind the mount facing the pole (${facing(result)}); `,
      figure(result, "correction.azimuth.base_arcmin", arcminutes), " of base, ", figure(result, "correction.azimuth.on_sky_arcmin", arcminutes), " on the sky",
      known(c.rim_mm) ? ["; ", figure(result, "correction.azimuth.rim_mm", (v) => v.toFixed(1)), " mm along the rim"] : null,
      known(c.screw_turns) ? ["; ", figure(result, "correction.azimuth.screw_turns", (v) => v.toFixed(2)), " turns of its screw"] : null)), picture);
}

function answerSection(result) {
  const head = byId("answer-head");
  if (!result.correction) {
    const headings = { axis_not_observable: "The axis cannot be told yet", not_identified: "The stars were not identified",
      too_few_stars: "Too few stars", inconsistent: "The frames contradict each other" };
    head.textContent = headings[result.outcome] ?? "No answer yet";
    section("answer", el("p", { class: "message" }, result.message));
    return;
  }
  const a = result.axis, settled = a.total_error_arcmin < 2 * a.total_error_sigma_arcmin;
  const enough = at(result, "exposure.good_enough") === true;
  head.textContent = settled ? "Nothing to turn" : enough ? "Leave it, it is good enough" : "Turn this";
  const pictures = movePictures(result);
  if (settled) section("answer", el("p", { class: "message" }, "The axis is on the pole as far as these frames can tell."));
  else if (enough) section("answer", el("p", { class: "message" }, "To bring it closer still:"));
  section("answer", el("ol", { class: settled || enough ? "steps quiet" : "steps" },
    altitudeStep(result, pictures.altitude), azimuthStep(result, pictures.azimuth)),
  el("p", { class: "total" }, "The axis is ", figure(result, "axis.total_error_arcmin", (v) => `${v.toFixed(1)}′`), " ± ",
    figure(result, "axis.total_error_sigma_arcmin", (v) => `${v.toFixed(1)}′`), " from the pole."));
  if (at(result, "correction.star_shift")) section("answer", starWords(result));
}

function starWords(result) {
  const s = result.correction.star_shift, place = ([x, y]) => `(${x.toFixed(0)}, ${y.toFixed(0)})`;
  return el("p", { class: "detail" }, "Or watch the live view, camera untouched on its head: bring ", quoted(s.star || "the star marked below"),
    ` from ${place(s.from_px)} to ${place(s.after_altitude_px)} with the altitude, then to ${place(s.to_px)} with the base.`);
}

function verdictSection(result) {
  const e = result.exposure;
  if (!e) return;
  const parts = [];
  if (known(e.good_enough)) {
    parts.push(el("p", { class: `verdict ${e.good_enough ? "good" : "bad"}` }, verdictSign(e.good_enough),
      el("span", null, e.good_enough ? "Good enough" : "Not good enough", " for ", figure(result, "exposure.planned_s", duration))));
    parts.push(el("p", null, "Stars would trail ", figure(result, "exposure.planned_trail_px", (v) => `${v.toFixed(Math.abs(v - e.tolerance_px) < 0.1 ? 2 : 1)} px`), " at worst; you accept ",
      figure(result, "exposure.tolerance_px", (v) => `${v} px`), "."));
  } else {
    parts.push(el("p", { class: "verdict open" }, el("span", null, "Give --exposure to learn whether it is good enough")));
  }
  if (known(e.longest_s))
    parts.push(el("p", null, "Longest exposure as it stands: ", figure(result, "exposure.longest_s", duration, "mid"),
      known(e.longest_after_s) ? ["; after both moves: ", figure(result, "exposure.longest_after_s", duration, "mid")] : null, "."));
  section("verdict", ...parts);
}
const verdictSign = (good) => svg("svg", { viewBox: "0 0 32 32", class: "sign", "aria-hidden": "true" },
  svg("path", good ? { d: "M4 17L13 26L28 6" } : { d: "M6 6L26 26M26 6L6 26" }));

function causesSection(causes) {
  if (!causes.length) return;
  section("causes", el("ol", { class: "causes" }, causes.map((c) => el("li", null,
    el("p", { class: "cause" }, el("span", { class: "share", "aria-hidden": "true" }, shareBar(c.share)), el("strong", null, capital(c.cause)), ` ${(100 * c.share).toFixed(0)} %`),
    el("p", null, quoted(capital(c.evidence))),
    known(c.remedy) ? el("p", { class: "how" }, `${capital(c.remedy)}.`) : null))));
}
function shareBar(share) {
  return svg("svg", { viewBox: "0 0 60 10", class: "bar" }, svg("rect", { class: "outline", x: 0.5, y: 0.5, width: 59, height: 9 }),
    svg("rect", { class: "full", x: 0.5, y: 0.5, width: 59 * Math.max(0, Math.min(1, share)), height: 9 }));
}

/** Shift and roll against time: what was measured and what axis and rate predict. */
function driftSection(result, evidence) {
  const minutes = (rows, i, sigma) => rows.map((r) => [r.time_s / 60, r[i], sigma ? r[sigma] : 0]);
  const both = (name, key, points, tone, dash, sigma) => [
    { name: `${name} measured`, rows: minutes(evidence.shifts, key, sigma), points, tone },
    { name: `${name} from axis and rate`, rows: minutes(evidence.fitted, key), line: true, dash, tone }];
  const d = result.drift;
  const parts = [];
  if (d)
    parts.push(el("p", null, "The star field moves ", figure(result, "drift.centre_px_per_min", (v) => v.toFixed(2)), " px a minute in the middle of the frame, ",
      figure(result, "drift.worst_px_per_min", (v) => v.toFixed(2)), " px at worst: ", figure(result, "drift.north_arcsec_per_min", (v) => `${signed(v, 1)}″`), " north, ",
      figure(result, "drift.east_arcsec_per_min", (v) => `${signed(v, 1)}″`), " east, twist ", figure(result, "drift.twist_arcsec_per_min", (v) => `${signed(v, 1)}″`), " a minute."));
  if (evidence.shifts.length > 1) {
    const rows = evidence.shifts.map((r) => [(r.time_s / 60).toFixed(2), plusMinus(r.x_px, r.sigma_px), plusMinus(r.y_px, r.sigma_px), plusMinus(r.roll_arcmin, r.roll_sigma_arcmin)]);
    const data = wideTable("Measured shift and roll of the star field since the first frame", ["Minutes", "Along the rows, px", "Down the columns, px", "Roll, arcminutes"], rows);
    parts.push(el("div", { class: "pair" },
      chartFigure("Shift of the star field, px", "Shift of the star field against minutes since the first frame, measured and as axis and rate predict. The table below holds the figures.",
        (host) => { chart(host, [...both("x", "x_px", "disc", "--ink", false, "sigma_px"), ...both("y", "y_px", "square", "--accent", true, "sigma_px")], {}); host.append(seriesKey([["disc", "along the rows, line: prediction"], ["square", "down the columns, dashed: prediction"]])); }),
      chartFigure("Roll, arcminutes", "Roll of the star field in arcminutes against minutes since the first frame, measured and as axis and rate predict. The table below holds the figures.",
        (host) => { chart(host, both("roll", "roll_arcmin", "disc", "--ink", false, "roll_sigma_arcmin"), {}); host.append(seriesKey([["disc", "roll, line: prediction"]])); })), el("details", { open: !hasCharts() }, el("summary", null, "Shift and roll as a table"), data));
    parts.push(el("p", { class: "how" }, "Minutes since the first frame. The lines are not fitted to these points: from the last frame backwards they follow from the axis and the rate found."));
  }
  if (parts.length) section("drift", ...parts);
}
const KEY_PATHS = { dash: "M1 8H6M10 8H15", disc: "M8 3A5 5 0 1 0 8 13A5 5 0 1 0 8 3Z", ring: "M8 3A5 5 0 1 0 8 13A5 5 0 1 0 8 3Z", square: "M3 3H13V13H3Z", triangle: "M8 2L14 13H2Z", cross: "M3 3L13 13M13 3L3 13" };
const seriesKey = (entries) => el("ul", { class: "key inline" }, entries.map(([shape, text]) => el("li", null, keyMark(`key-${shape}`, KEY_PATHS[shape]), text)));

function axisRows(result) {
  const a = result.axis;
  if (!a) return [];
  const pair = (path, sigma) => figure(result, path, (v) => `${plusMinus(v, at(result, sigma))}′`);
  return [
    ["Axis, altitude and azimuth", [figure(result, "axis.altitude_deg", (v) => `${plain(v, 3)}°`), ", ", figure(result, "axis.azimuth_deg", (v) => `${plain(v, 3)}°`)]],
    ["Altitude error, high positive", pair("axis.altitude_error_arcmin", "axis.altitude_error_sigma_arcmin")],
    ["Base error, east positive", pair("axis.azimuth_error_arcmin", "axis.azimuth_error_sigma_arcmin")],
    ["The same on the sky", pair("axis.azimuth_error_on_sky_arcmin", "axis.azimuth_error_on_sky_sigma_arcmin")],
    ["Total, axis to pole", pair("axis.total_error_arcmin", "axis.total_error_sigma_arcmin")],
  ];
}

function basisRows(result) {
  const o = result.optics, s = result.site, rows = axisRows(result);
  if (result.rate) rows.push(["Tracking rate over sidereal", [figure(result, "rate.ratio", (v) => plusMinus(v, result.rate.ratio_sigma)), `, ${result.rate.matches}`]]);
  if (o && known(o.focal_px))
    rows.push(["Optics", [known(o.focal_mm) ? [figure(result, "optics.focal_mm", (v) => v.toFixed(1)), " mm, "] : null,
      known(o.scale_arcsec_per_px) ? [figure(result, "optics.scale_arcsec_per_px", (v) => v.toFixed(3)), "″ per pixel"] : null, o.mirrored ? ", mirrored" : ""].flat()]);
  if (s) rows.push(["Site", [figure(result, "site.latitude_deg", (v) => `${plain(v, 4)}°`), ", ", figure(result, "site.longitude_deg", (v) => `${plain(v, 4)}°`), ", ", figure(result, "site.height_m", (v) => `${plain(v, 0)} m`), " (", quoted(s.source), ")"]]);
  return rows;
}

function frameRows(result) {
  return result.frames.map((f, i) => [quoted(f.file), utc(f.mid_time_utc), known(f.exposure_s) ? `${f.exposure_s} s` : null, String(f.stars_detected),
    String(f.stars_identified), known(f.residual_rms_px) ? figure(result, `frames.${i}.residual_rms_px`, (v) => v.toFixed(2)) : null,
    known(f.fwhm_px) ? figure(result, `frames.${i}.fwhm_px`, (v) => v.toFixed(2)) : null,
    known(f.trail_px) ? figure(result, `frames.${i}.trail_px`, (v) => trailWords(v, f.trail_sigma_px)) : null, f.flags.join(", ") || null]);
}

function basisSection(result) {
  const rows = basisRows(result);
  section("basis",
    rows.length ? wideTable("Figures with their uncertainty (1σ)", ["What", "Figure"], rows) : null,
    wideTable("Frames", ["File", "Middle of exposure", "Exposure", "Stars", "Identified", "Residual px", "Star width px", "Trail px", "Flags"], frameRows(result)),
    result.axis ? el("p", { class: "how" }, "How: the stars of each frame were identified and the camera's attitude over the ground found from them. Between the frames the camera turned about the mount's axis, so that turn gives the axis. Roll about the line of sight sets the limit; more stars and a longer wait between the frames make it sharper.") : null,
    result.warnings.length ? [el("h3", null, "What limits them"), el("ul", null, result.warnings.map((w) => el("li", null, quoted(w))))] : null);
}

function alignPage(result, evidence) {
  document.title = "polewright: what to turn";
  byId("kind").textContent = "alignment";
  byId("when").textContent = result.frames.length ? utc(result.frames.at(-1).mid_time_utc) : "";
  answerSection(result);
  verdictSection(result);
  if (result.axis && result.site) axisSection(result, evidence);
  if (evidence.frame) frameSection({ ...evidence.frame, planned_s: at(result, "exposure.planned_s") }, at(result, "correction.star_shift") ?? null);
  causesSection(result.causes);
  driftSection(result, evidence);
  basisSection(result);
}
