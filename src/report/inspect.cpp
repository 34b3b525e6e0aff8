#include <fmt/format.h>

#include "report/json_parts.hpp"
#include "report/words.hpp"

namespace polewright {
namespace {

using namespace report;

const char* to_text(FileKind kind) {
  switch (kind) {
    case FileKind::fits:
      return "fits";
    case FileKind::raw:
      return "raw";
    case FileKind::tiff:
      return "tiff";
    case FileKind::png:
      return "png";
    case FileKind::jpeg:
      return "jpeg";
  }
  return "";
}

std::string to_text(const Mosaic& mosaic) {
  if (!mosaic.is_colour()) return "none";
  std::string text;
  for (const FilterColour c : mosaic.colour)
    text += c == FilterColour::red ? 'R' : c == FilterColour::green ? 'G' : c == FilterColour::blue ? 'B' : '?';
  return text == "RGGB" || text == "BGGR" || text == "GRBG" || text == "GBRG" ? text : "other";
}

Json sourced(const MaybeSourced<double>& v) {
  if (!v) return nullptr;
  return {{"value", v->value}, {"source", v->source}};
}

Json text_or_null(const std::string& text) {
  return text.empty() ? Json(nullptr) : Json(text);
}

Json metadata_json(const FrameMetadata& m) {
  Json time = nullptr, site = nullptr;
  if (m.mid_time) time = {{"value", m.mid_time->value.iso()}, {"source", m.mid_time->source}};
  if (m.site)
    site = {{"value",
             {{"latitude_deg", m.site->value.latitude.deg()},
              {"longitude_deg", m.site->value.longitude.deg()},
              {"height_m", m.site->value.height_m}}},
            {"source", m.site->source}};
  return {{"mid_time_utc", time},
          {"exposure_s", sourced(m.exposure_s)},
          {"site", site},
          {"focal_length_mm", sourced(m.focal_length_mm)},
          {"pixel_pitch_um", sourced(m.pixel_pitch_um)},
          {"f_number", sourced(m.f_number)},
          {"iso", sourced(m.iso)},
          {"sensor_temperature_c", sourced(m.sensor_temperature_c)},
          {"camera", text_or_null(m.camera)},
          {"lens", text_or_null(m.lens)},
          {"object", text_or_null(m.object)}};
}

void say(std::vector<std::string>& out, const char* what, const MaybeSourced<double>& v, const char* unit) {
  if (v) out.push_back(fmt::format("{:<10}{:g} {} ({})", what, v->value, unit, printable(v->source)));
}

}  // namespace

std::string inspect_json(const InspectReport& r) {
  return dump({{"schema", "polewright/inspect/1"},
               {"program", program_json()},
               {"frame", frame_json(r.frame)},
               {"kind", to_text(r.kind)},
               {"mosaic", to_text(r.mosaic)},
               {"black_level", r.black_level},
               {"white_level", r.white_level},
               {"sky_level", r.sky_level},
               {"sky_noise", r.sky_noise},
               {"metadata", metadata_json(r.metadata)},
               {"optics", optics_json(r.optics)},
               {"identification", r.identification},
               {"warnings", r.warnings}});
}

std::string inspect_text(const InspectReport& r, const TextStyle& style) {
  const auto [on, off] = emphasis(style);
  const FrameReport& f = r.frame;
  const FrameMetadata& m = r.metadata;
  std::vector<std::string> out;
  out.push_back(fmt::format("{}{}{}", on, printable(f.file), off));
  out.push_back(fmt::format("Picture   {} × {} pixels, {}, filter pattern {}, black {:.0f}, white {:.0f}", f.width_px,
                            f.height_px, to_text(r.kind), to_text(r.mosaic), r.black_level, r.white_level));
  if (m.mid_time)
    out.push_back(
        fmt::format("Time      {} at mid-exposure ({})", m.mid_time->value.iso(), printable(m.mid_time->source)));
  say(out, "Exposure", m.exposure_s, "s");
  say(out, "Lens", m.focal_length_mm, "mm");
  say(out, "Pitch", m.pixel_pitch_um, "µm");
  if (m.site)
    out.push_back(fmt::format("Site      {:.4f}, {:.4f}, {:.0f} m ({})", m.site->value.latitude.deg(),
                              m.site->value.longitude.deg(), m.site->value.height_m, printable(m.site->source)));
  if (!m.camera.empty()) out.push_back("Camera    " + printable(m.camera));
  out.push_back(fmt::format("Sky       level {:.0f}, noise {:.1f}", r.sky_level, r.sky_noise));
  out.push_back(fmt::format(
      "Stars     {} found{}{}", f.stars_detected, f.fwhm_px ? fmt::format(", width (FWHM) {:.2f} px", *f.fwhm_px) : "",
      f.trail_px ? fmt::format(", trail {} px at {:.0f}°", plus_minus(*f.trail_px, f.trail_sigma_px.value_or(0)),
                               f.trail_angle_deg.value_or(0))
                 : ""));
  out.push_back(fmt::format("Identity  {}", r.identification));
  if (f.centre_ra_deg && f.centre_dec_deg)
    out.push_back(fmt::format("Centre    right ascension {:.4f}°, declination {:+.4f}°; {} stars, residual {:.2f} px",
                              *f.centre_ra_deg, *f.centre_dec_deg, f.stars_identified, f.residual_rms_px.value_or(0)));
  if (f.centre_altitude_deg && f.centre_azimuth_deg)
    out.push_back(
        fmt::format("          altitude {:.2f}°, azimuth {:.2f}°", *f.centre_altitude_deg, *f.centre_azimuth_deg));
  if (r.optics.scale_arcsec_per_px)
    out.push_back(fmt::format("Optics    {:.3f}″ per pixel{}{}", *r.optics.scale_arcsec_per_px,
                              r.optics.focal_mm ? fmt::format(", {:.1f} mm", *r.optics.focal_mm) : "",
                              r.optics.mirrored.value_or(false) ? ", mirrored" : ""));
  for (const std::string& flag : f.flags) out.push_back("Flag      " + printable(flag));
  for (const std::string& w : r.warnings) out.push_back("Note      " + printable(w));
  return fmt::format("{}\n", fmt::join(out, "\n"));
}

}  // namespace polewright
