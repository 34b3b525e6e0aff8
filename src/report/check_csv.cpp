#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "polewright/check.hpp"

namespace polewright {
namespace {

/// RFC 4180: quoted when a comma, a quote or a line break is inside; quotes doubled.
std::string cell(const std::string& text) {
  if (text.find_first_of(",\"\r\n") == std::string::npos) return text;
  std::string out = "\"";
  for (const char c : text) out += c == '"' ? std::string("\"\"") : std::string(1, c);
  return out + "\"";
}

std::string cell(const std::optional<double>& v, const char* format = "{:.4f}") {
  return v && std::isfinite(*v) ? fmt::format(fmt::runtime(format), *v) : std::string();
}

}  // namespace

std::string check_csv(const CheckReport& report) {
  std::string out =
      "file,mid_time_utc,exposure_s,verdict,cause,trail_px,trail_sigma_px,trail_angle_deg,trail_arcsec,trail_sigma_"
      "arcsec,elongation,"
      "fwhm_px,stars,stars_expected,sky_adu,dimming_mag,shift_x_px,shift_y_px,roll_arcmin,flags,why\r\n";
  for (const CheckFrame& f : report.frames) {
    const FrameFinding& found = f.finding;
    const auto of_place = [&](double FieldPlace::*member, double unit) {
      return f.place ? std::optional(*f.place.*member * unit) : std::nullopt;
    };
    const std::string cells[] = {cell(f.file),
                                 f.mid_time ? f.mid_time->iso() : std::string(),
                                 cell(f.exposure_s, "{:g}"),
                                 to_text(found.verdict),
                                 cell(found.cause.value_or("")),
                                 cell(found.trail_px),
                                 cell(found.trail_sigma_px),
                                 cell(found.trail_angle_deg, "{:.2f}"),
                                 cell(f.trail_arcsec),
                                 cell(f.trail_sigma_arcsec),
                                 cell(f.elongation),
                                 cell(f.fwhm_px),
                                 f.readable ? fmt::format("{}", f.stars) : std::string(),
                                 cell(f.stars_expected, "{:.0f}"),
                                 cell(f.sky_adu, "{:.1f}"),
                                 cell(f.dimming_mag, "{:.3f}"),
                                 cell(of_place(&FieldPlace::x_px, 1.0)),
                                 cell(of_place(&FieldPlace::y_px, 1.0)),
                                 cell(of_place(&FieldPlace::roll_rad, Angle::rad(1.0).arcmin())),
                                 cell(fmt::format("{}", fmt::join(f.flags, "; "))),
                                 cell(found.why)};
    out += fmt::format("{}\r\n", fmt::join(cells, ","));
  }
  return out;
}

}  // namespace polewright
