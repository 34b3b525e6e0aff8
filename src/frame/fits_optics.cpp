#include <fmt/format.h>

#include <array>
#include <cmath>

#include "frame/fits_metadata.hpp"
#include "frame/site_text.hpp"

namespace polewright {
namespace {

constexpr double kDegPerRad = 180.0 / std::numbers::pi;

/// The linear part of a celestial WCS, with its axes put in the order right ascension, declination (FITS standard 4.0,
/// section 8; Greisen & Calabretta 2002, Calabretta & Greisen 2002).
struct CelestialWcs {
  double ra_deg = 0.0, dec_deg = 0.0;            ///< at the reference pixel
  double x_ref = 0.0, y_ref = 0.0;               ///< reference pixel, first pixel = 1
  std::array<double, 4> deg_per_px{1, 0, 0, 1};  ///< intermediate world coordinates per pixel, row-major
};

std::optional<CelestialWcs> read_wcs(const FitsHeader& header) {
  const std::string *type1 = header.text("CTYPE1"), *type2 = header.text("CTYPE2");
  const auto value1 = header.number("CRVAL1"), value2 = header.number("CRVAL2");
  const auto pixel1 = header.number("CRPIX1"), pixel2 = header.number("CRPIX2");
  if (!type1 || !type2 || !value1 || !value2 || !pixel1 || !pixel2) return {};
  const bool ra_first = type1->starts_with("RA--") && type2->starts_with("DEC-");
  const bool dec_first = type2->starts_with("RA--") && type1->starts_with("DEC-");
  if (!ra_first && !dec_first) return {};
  const auto get = [&](const char* keyword, double otherwise) { return header.number(keyword).value_or(otherwise); };
  std::array<double, 4> m{};
  if (header.number("CD1_1") || header.number("CD1_2")) {
    m = {get("CD1_1", 0), get("CD1_2", 0), get("CD2_1", 0), get("CD2_2", 0)};
  } else {
    const double s1 = get("CDELT1", 0), s2 = get("CDELT2", 0), turn = get("CROTA2", 0) / kDegPerRad;
    std::array<double, 4> pc{get("PC1_1", 1), get("PC1_2", 0), get("PC2_1", 0), get("PC2_2", 1)};
    if (header.number("CROTA2"))
      pc = {std::cos(turn), -std::sin(turn) * s2 / s1, std::sin(turn) * s1 / s2, std::cos(turn)};
    m = {s1 * pc[0], s1 * pc[1], s2 * pc[2], s2 * pc[3]};
  }
  const double area = m[0] * m[3] - m[1] * m[2];
  if (!std::isfinite(area) || area == 0.0) return {};
  if (dec_first) return CelestialWcs{*value2, *value1, *pixel1, *pixel2, {m[2], m[3], m[0], m[1]}};
  return CelestialWcs{*value1, *value2, *pixel1, *pixel2, m};
}

/// Direction of a pixel under the gnomonic projection, which every other one agrees with near its reference point.
Vec<Icrs> wcs_direction(const CelestialWcs& w, double x, double y) {
  const double dx = x + 1.0 - w.x_ref, dy = y + 1.0 - w.y_ref;
  const double xi = (w.deg_per_px[0] * dx + w.deg_per_px[1] * dy) / kDegPerRad;
  const double eta = (w.deg_per_px[2] * dx + w.deg_per_px[3] * dy) / kDegPerRad;
  const Angle ra = Angle::deg(w.ra_deg), dec = Angle::deg(w.dec_deg);
  const Vec<Icrs> east{-sin(ra), cos(ra), 0.0};
  const Vec<Icrs> north{-sin(dec) * cos(ra), -sin(dec) * sin(ra), cos(dec)};
  return (icrs_from_equatorial(ra, dec) + east * xi + north * eta).unit();
}

/// Right ascension or declination: plain numbers are degrees, sexagesimal right ascensions hours.
std::optional<double> equatorial_deg(const std::string* text, bool right_ascension) {
  if (!text) return {};
  const auto angle = parse_angle(*text);
  if (!angle) return {};
  return angle->sexagesimal && right_ascension ? angle->value * 15.0 : angle->value;
}

std::optional<PointingHint> read_named_pointing(const FitsHeader& header, const char* ra_key, const char* dec_key) {
  const auto ra = equatorial_deg(header.text(ra_key), true), dec = equatorial_deg(header.text(dec_key), false);
  if (!ra || !dec || *ra < -180.0 || *ra > 360.0 || std::abs(*dec) > 90.0) return {};
  return PointingHint{icrs_from_equatorial(Angle::deg(*ra), Angle::deg(*dec)),
                      fmt::format("FITS {}, {}", ra_key, dec_key)};
}

void read_pointing(const FitsHeader& header, int width, int height, FrameMetadata& metadata) {
  const auto wcs = read_wcs(header);
  if (wcs) {
    metadata.pointing = PointingHint{wcs_direction(*wcs, (width - 1) / 2.0, (height - 1) / 2.0), "FITS WCS"};
    const auto& m = wcs->deg_per_px;
    metadata.scale_arcsec_per_px = Sourced<double>{3600.0 * std::sqrt(std::abs(m[0] * m[3] - m[1] * m[2])), "FITS WCS"};
  }
  for (const auto& [ra, dec] : {std::pair{"OBJCTRA", "OBJCTDEC"}, {"RA", "DEC"}, {"TELRA", "TELDEC"}}) {
    const auto hint = read_named_pointing(header, ra, dec);
    if (!hint) continue;
    if (!metadata.pointing) {
      metadata.pointing = hint;
    } else if (const Angle apart = angle_between(hint->centre, metadata.pointing->centre); apart > Angle::deg(2.0)) {
      metadata.warnings.push_back(fmt::format("{} and {} point {:.1f}° apart; used the first",
                                              metadata.pointing->source, hint->source, apart.deg()));
    }
  }
}

/// Pixel pitch after binning. XPIXSZ is by custom the binned size and PIXSIZE the sensor's own, but drivers differ;
/// where the header also gives scale and focal length these decide.
void read_pitch(const FitsHeader& header, FrameMetadata& metadata) {
  auto pitch =
      header.first_number({"XPIXSZ", "XPIXELSZ", "PIXSIZE", "PIXSIZE1", "PIXSZ"}, 0.5, 100.0, 10.0, metadata.warnings);
  if (!pitch) return;
  const auto binning = header.first_number({"XBINNING", "BINNING", "CCDXBIN"}, 1.0, 16.0, 0.0, metadata.warnings);
  const double n = binning ? binning->value : 1.0;
  if (n > 1.0) {
    bool multiply = pitch->source.find("XPIX") == std::string::npos;
    std::string why = "by custom";
    if (metadata.scale_arcsec_per_px && metadata.focal_length_mm) {
      const double implied_um =
          metadata.scale_arcsec_per_px->value / 3600.0 / kDegPerRad * metadata.focal_length_mm->value * 1000.0;
      multiply = std::abs(std::log(implied_um / (pitch->value * n))) < std::abs(std::log(implied_um / pitch->value));
      why = "as " + metadata.scale_arcsec_per_px->source + " shows";
    }
    metadata.warnings.push_back(
        fmt::format("the frame is binned {0:g}×{0:g}; {1} {2:g} µm is taken as the size {3} binning, {4}", n,
                    pitch->source, pitch->value, multiply ? "before" : "after", why));
    if (multiply) *pitch = {pitch->value * n, pitch->source + " × " + binning->source.substr(5)};
  }
  metadata.pixel_pitch_um = pitch;
}

}  // namespace

void read_fits_optics(const FitsHeader& header, int width, int height, FrameMetadata& metadata) {
  read_pointing(header, width, height, metadata);
  if (!metadata.scale_arcsec_per_px)
    metadata.scale_arcsec_per_px = header.first_number({"PIXSCALE", "SECPIX", "SECPIX1", "SCALE", "IM_SCALE"}, 0.01,
                                                       3600.0, 0.02, metadata.warnings);
  metadata.focal_length_mm = header.first_number({"FOCALLEN", "FOCAL"}, 1.0, 50000.0, 0.01, metadata.warnings);
  read_pitch(header, metadata);
  if (metadata.pixel_pitch_um)
    metadata.sensor_width_mm =
        Sourced<double>{metadata.pixel_pitch_um->value * width / 1000.0, metadata.pixel_pitch_um->source + " × width"};
}

}  // namespace polewright
