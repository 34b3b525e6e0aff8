#include <fmt/format.h>

#include <cmath>

#include "frame/fits_metadata.hpp"
#include "frame/site_text.hpp"
#include "frame/time_stamp.hpp"

namespace polewright {
namespace {

double wrapped_deg(double deg) {
  return Angle::deg(deg).wrapped_signed().deg();
}

/// Difference of two directions in degrees, 0 to 180.
double apart_deg(double a, double b) {
  return std::abs(wrapped_deg(a - b));
}

struct FoundAngle {
  double deg = 0.0;
  std::string keyword;
};

std::optional<FoundAngle> find_angle(const FitsHeader& header, std::initializer_list<const char*> keywords,
                                     double limit_deg, std::vector<std::string>& warnings) {
  std::optional<FoundAngle> chosen;
  for (const char* keyword : keywords) {
    const std::string* text = header.text(keyword);
    if (!text) continue;
    const auto angle = parse_angle(*text);
    if (!angle || std::abs(angle->value) > limit_deg) {
      warnings.push_back(fmt::format("FITS {} '{}' is no angle within ±{}°; ignored", keyword, *text, limit_deg));
    } else if (!chosen) {
      chosen = FoundAngle{angle->value, keyword};
    } else if (apart_deg(angle->value, chosen->deg) > 0.05) {
      warnings.push_back(fmt::format("FITS {} is {:.4f}° but FITS {} is {:.4f}°; used the first", chosen->keyword,
                                     chosen->deg, keyword, angle->value));
    }
  }
  return chosen;
}

/// An hour-like value in degrees: every reading its writing allows.
std::vector<double> hour_angle_readings_deg(const std::string* text) {
  if (!text) return {};
  const auto angle = parse_angle(*text);
  if (!angle) return {};
  if (angle->sexagesimal) return {angle->value * 15.0};
  if (std::abs(angle->value) > 24.0) return {angle->value};
  return {angle->value * 15.0, angle->value};
}

/// East longitudes that the header's sidereal time, or hour angle plus right ascension, ask for at `utc`.
std::vector<double> longitudes_from_sidereal_time_deg(const FitsHeader& header, UtcTime utc) {
  const double greenwich = greenwich_sidereal_time_deg(utc);
  std::vector<double> longitudes;
  for (const char* keyword : {"LST", "LST-OBS", "ST", "SIDEREAL", "LMST", "LST-BEG"})
    for (const double lst : hour_angle_readings_deg(header.text(keyword)))
      longitudes.push_back(wrapped_deg(lst - greenwich));
  for (const char* keyword : {"HA", "HOURANG", "OBJCTHA"})
    for (const double ha : hour_angle_readings_deg(header.text(keyword)))
      for (const char* ra_keyword : {"RA", "OBJCTRA"})
        for (const double ra : hour_angle_readings_deg(header.text(ra_keyword)))
          longitudes.push_back(wrapped_deg(ha + ra - greenwich));
  return longitudes;
}

bool any_near(const std::vector<double>& longitudes, double deg, double tolerance_deg) {
  for (const double l : longitudes)
    if (apart_deg(l, deg) < tolerance_deg) return true;
  return false;
}

std::optional<int> recorded_zone_s(const FitsHeader& header) {
  for (const char* keyword : {"DATE-OBS", "DATE-BEG", "DATE-LOC"})
    if (const std::string* text = header.text(keyword))
      if (const auto stamp = parse_stamp(*text, keyword); stamp && stamp->zone_offset_s && *stamp->zone_offset_s != 0)
        return stamp->zone_offset_s;
  return {};
}

/// Why the longitude must be counted west-positive; nothing when it need not be, or cannot be told.
std::optional<std::string> reason_for_west(const FitsHeader& header, double longitude_deg,
                                           const FrameMetadata& metadata) {
  // 4° is a quarter of an hour of sidereal time, room for stamps at start or end and for epoch; two readings of a
  // longitude closer to 0° or 180° than that cannot be told apart and need not be.
  constexpr double kSiderealTolerance_deg = 4.0;
  // Civil zones lie within two and a half hours of the Sun's time.
  constexpr double kZoneTolerance_deg = 37.5;
  if (metadata.mid_time) {
    const auto longitudes = longitudes_from_sidereal_time_deg(header, metadata.mid_time->value);
    if (any_near(longitudes, longitude_deg, kSiderealTolerance_deg)) return {};
    if (any_near(longitudes, -longitude_deg, kSiderealTolerance_deg)) return "sidereal time";
  }
  if (const auto zone = recorded_zone_s(header)) {
    const double zone_deg = *zone / 240.0;
    if (apart_deg(zone_deg, longitude_deg) > kZoneTolerance_deg &&
        apart_deg(zone_deg, -longitude_deg) < kZoneTolerance_deg)
      return "the recorded time zone";
  }
  return {};
}

/// Geodetic place from geocentric metres (WGS 84), by iteration on the latitude; to a millimetre after five rounds.
Site geodetic(double x, double y, double z) {
  constexpr double kRadius_m = 6378137.0, kFlattening = 1.0 / 298.257223563;
  constexpr double e2 = kFlattening * (2.0 - kFlattening);
  const double p = std::hypot(x, y);
  double latitude = std::atan2(z, p * (1.0 - e2)), height = 0.0;
  for (int i = 0; i < 5; ++i) {
    const double s = std::sin(latitude), n = kRadius_m / std::sqrt(1.0 - e2 * s * s);
    height = p * std::cos(latitude) + z * s - kRadius_m * kRadius_m / n;
    latitude = std::atan2(z, p * (1.0 - e2 * n / (n + height)));
  }
  return {Angle::rad(latitude), Angle::rad(std::atan2(y, x)), height};
}

std::optional<Site> site_from_geocentric(const FitsHeader& header) {
  const auto x = header.number("OBSGEO-X"), y = header.number("OBSGEO-Y"), z = header.number("OBSGEO-Z");
  if (!x || !y || !z) return {};
  const double r = std::sqrt(*x * *x + *y * *y + *z * *z);
  if (r < 6.3e6 || r > 6.4e6) return {};  // not on the ground
  return geodetic(*x, *y, *z);
}

}  // namespace

void read_fits_site(const FitsHeader& header, FrameMetadata& metadata) {
  auto& warnings = metadata.warnings;
  const auto geocentric = site_from_geocentric(header);
  const auto latitude =
      find_angle(header, {"SITELAT", "LAT-OBS", "OBSGEO-B", "LATITUDE", "OBS-LAT", "OBSLAT", "GEOLAT"}, 90.0, warnings);
  const auto longitude = find_angle(
      header, {"SITELONG", "LONG-OBS", "OBSGEO-L", "LONGITUD", "OBS-LONG", "OBSLONG", "GEOLON"}, 360.0, warnings);
  if (!latitude || !longitude || (latitude->deg == 0.0 && longitude->deg == 0.0)) {
    if (geocentric) metadata.site = Sourced<Site>{*geocentric, "FITS OBSGEO-X, -Y, -Z"};
    if (latitude && longitude && !geocentric)
      warnings.push_back(
          fmt::format("FITS {} and {} are both 0, a place never set; ignored", latitude->keyword, longitude->keyword));
    return;
  }
  double east_deg = wrapped_deg(longitude->deg);
  std::string source = fmt::format("FITS {}, {}", latitude->keyword, longitude->keyword);
  // The standard counts its own keyword east-positive.
  const auto west = longitude->keyword == "OBSGEO-L" ? std::nullopt : reason_for_west(header, east_deg, metadata);
  if (west) {
    east_deg = -east_deg;
    warnings.push_back(fmt::format("FITS {} counts west-positive, as {} shows; longitude taken as {:.4f}° east",
                                   longitude->keyword, *west, east_deg));
    source += " (west-positive, turned)";
  }
  Site site{Angle::deg(latitude->deg), Angle::deg(east_deg), geocentric ? geocentric->height_m : 0.0};
  if (const auto height = header.first_number({"SITEELEV", "ALT-OBS", "OBSGEO-H", "OBS-ELEV", "ELEVATIO", "GEOELEV"},
                                              -500.0, 9000.0, 0.01, warnings)) {
    site.height_m = height->value;
    source += height->source.substr(4).insert(0, ",");
  }
  if (geocentric && (apart_deg(geocentric->latitude.deg(), site.latitude.deg()) > 0.05 ||
                     apart_deg(geocentric->longitude.deg(), east_deg) > 0.05))
    warnings.push_back(fmt::format("{} and FITS OBSGEO-X, -Y, -Z are different places; used the first", source));
  metadata.site = Sourced<Site>{site, source};
}

}  // namespace polewright
