// `inspect`: what was read from one frame and measured in it.
function inspectPage(result, evidence) {
  const f = result.frame, m = result.metadata;
  document.title = "polewright: one frame";
  byId("kind").textContent = "one frame";
  byId("when").textContent = utc(f.mid_time_utc);
  fill(byId("answer-head"), null, [quoted(f.file.split("/").at(-1))]);
  const dec = known(f.centre_dec_deg) ? [", declination ", figure(result, "frame.centre_dec_deg", (v) => `${plain(v, 3)}°`)] : null;
  section("answer",
    el("p", { class: "message" }, figure(result, "frame.stars_detected", String), " detections, ", figure(result, "frame.stars_identified", String), " stars identified."),
    known(f.fwhm_px) ? el("p", { class: "step" }, "Star width ", figure(result, "frame.fwhm_px", (v) => `${v.toFixed(2)} px`, "big")) : null,
    known(f.trail_px) ? el("p", { class: "step" }, "Trail ", figure(result, "frame.trail_px", (v) => `${trailWords(v, f.trail_sigma_px)} px`, "big")) : null,
    known(f.centre_ra_deg) ? el("p", { class: "detail" }, "Middle of the frame: right ascension ", figure(result, "frame.centre_ra_deg", (v) => `${plain(v, 3)}°`), dec, ".")
      : el("p", { class: "message" }, result.identification),
    f.flags.length ? el("p", { class: "message" }, `Flags: ${f.flags.join(", ")}.`) : null);
  if (evidence.frame) frameSection({ ...evidence.frame, planned_s: at(m, "exposure_s.value") }, null);
  section("basis", wideTable("Read from the file", ["What", "Value", "From"], metadataRows(result, m)), wideTable("Measured", ["What", "Figure"], measuredRows(result)),
    result.warnings.length ? [el("h3", null, "Notes"), el("ul", null, result.warnings.map((w) => el("li", null, quoted(w))))] : null);
}

function metadataRows(result, m) {
  const sourced = (name, key, unit, decimals) => (m[key] ? [name, figure(result, `metadata.${key}.value`, (v) => `${Number(v.toFixed(decimals))} ${unit}`), quoted(m[key].source)] : [name, "not said", null]);
  const text = (name, key) => (m[key] ? [name, quoted(m[key]), null] : null);
  return [
    m.mid_time_utc ? ["Middle of exposure", utc(m.mid_time_utc.value), quoted(m.mid_time_utc.source)] : ["Middle of exposure", "not said", null],
    sourced("Exposure", "exposure_s", "s", 4), sourced("Focal length", "focal_length_mm", "mm", 2), sourced("Pixel pitch", "pixel_pitch_um", "µm", 3),
    sourced("f-number", "f_number", "", 2), sourced("ISO", "iso", "", 0), sourced("Sensor temperature", "sensor_temperature_c", "°C", 1),
    m.site ? ["Site", `${plain(m.site.value.latitude_deg, 4)}°, ${plain(m.site.value.longitude_deg, 4)}°, ${plain(m.site.value.height_m, 0)} m`, quoted(m.site.source)] : ["Site", "not said", null],
    text("Camera", "camera"), text("Lens", "lens"), text("Object", "object"),
  ].filter(Boolean);
}

function measuredRows(result) {
  const o = result.optics;
  return [
    ["Picture", [`${result.frame.width_px} × ${result.frame.height_px} pixels, ${result.kind}, filter pattern ${result.mosaic}`]],
    ["Black and white level", [figure(result, "black_level", (v) => v.toFixed(0)), ", ", figure(result, "white_level", (v) => v.toFixed(0))]],
    ["Sky level and noise", [figure(result, "sky_level", (v) => v.toFixed(0)), ", ", figure(result, "sky_noise", (v) => v.toFixed(1))]],
    o && known(o.scale_arcsec_per_px) ? ["Scale", [figure(result, "optics.scale_arcsec_per_px", (v) => v.toFixed(3)), "″ per pixel", o.mirrored ? ", mirrored" : ""]] : null,
    known(result.frame.residual_rms_px) ? ["Residual of identified stars", figure(result, "frame.residual_rms_px", (v) => `${v.toFixed(2)} px`)] : null,
    known(result.frame.centre_altitude_deg) ? ["Middle of the frame over the ground", [figure(result, "frame.centre_altitude_deg", (v) => `${plain(v, 2)}°`), " altitude, ", figure(result, "frame.centre_azimuth_deg", (v) => `${plain(v, 2)}°`), " azimuth"]] : null,
  ].filter(Boolean);
}
