#include <fmt/format.h>

#include <cmath>

#include "frame/exif.hpp"
#include "frame/time_stamp.hpp"

namespace polewright {
namespace {

/// '+02:00' -> 7200.
std::optional<int> zone_seconds(const std::string& zone) {
  if (zone.size() < 3) return {};
  const auto parsed = parse_time("2000-01-01T00:00:00" + zone);
  return parsed ? parsed->zone_offset_s : std::nullopt;
}

std::optional<Stamp> camera_stamp(const ExifTags& t) {
  std::string text = t.date_time_original;
  const bool digits = !t.sub_seconds.empty() && t.sub_seconds.find_first_not_of("0123456789") == std::string::npos;
  if (digits) text += "." + t.sub_seconds;
  return parse_stamp(text, "EXIF " + t.date_time_source + (digits ? "+SubSecTime" : ""));
}

/// The camera's zone as its clock and the satellite time give it: their difference to the nearest quarter of an hour.
struct ZoneFromGps {
  int offset_s = 0;
  double clock_error_s = 0.0;  ///< what remains: the camera clock's error, or the age of the position
};

std::optional<ZoneFromGps> zone_from_gps(const Stamp& local, const Stamp& gps) {
  const double ahead_s = UtcTime::from_calendar(local.calendar).seconds_since(gps.utc());
  const double offset_s = std::round(ahead_s / 900.0) * 900.0;
  if (std::abs(offset_s) > 14 * 3600.0) return {};
  return ZoneFromGps{static_cast<int>(offset_s), ahead_s - offset_s};
}

void read_time(const ExifTags& t, const ReadOptions& options, FrameMetadata& m) {
  const double half_s = m.exposure_s ? m.exposure_s->value / 2 : 0.0;
  auto local = camera_stamp(t);
  const auto gps = parse_stamp(t.gps_date, "EXIF GPSDateStamp+GPSTimeStamp", t.gps_time);
  if (!local && !gps) return;
  const auto set = [&](const Stamp& stamp, const std::string& source) {
    m.mid_time = Sourced<UtcTime>{stamp.utc().plus_seconds(half_s), source};
    m.mid_time_sigma_s = stamp_difference_sigma_s(stamp.resolution_s);
  };
  if (!local) return set(*gps, gps->source);

  const auto from_gps = gps ? zone_from_gps(*local, *gps) : std::nullopt;
  std::string zone_source = t.zone_source;
  local->zone_offset_s = zone_seconds(t.zone);
  if (local->zone_offset_s) {
    const double apart_s = gps ? local->utc().seconds_since(gps->utc()) : 0.0;
    if (std::abs(apart_s) > 60.0)
      m.warnings.push_back(fmt::format("{} with {} and the satellite time differ by {:.0f} s; used the camera's clock",
                                       local->source, zone_source, apart_s));
  } else if (from_gps) {
    local->zone_offset_s = from_gps->offset_s;
    zone_source = "GPSTimeStamp";
    if (std::abs(from_gps->clock_error_s) > 60.0)
      m.warnings.push_back(fmt::format("the camera's clock and the satellite time differ by {:.0f} s besides the zone",
                                       from_gps->clock_error_s));
    if (options.utc_offset_s && *options.utc_offset_s != from_gps->offset_s)
      m.warnings.push_back(
          fmt::format("option --utc-offset says {} s but the satellite time in the file {} s; used the latter",
                      *options.utc_offset_s, from_gps->offset_s));
  } else if (options.utc_offset_s) {
    local->zone_offset_s = options.utc_offset_s;
    zone_source = "option --utc-offset";
  }
  if (local->zone_offset_s) return set(*local, local->source + ", zone from " + zone_source);
  m.mid_local_time = Sourced<CalendarTime>{moved(local->calendar, half_s), local->source};
  m.mid_time_sigma_s = stamp_difference_sigma_s(local->resolution_s);
}

void read_site(const ExifTags& t, FrameMetadata& m) {
  if (!t.latitude_deg || !t.longitude_deg) return;
  if (std::abs(*t.latitude_deg) > 90.0 || std::abs(*t.longitude_deg) > 180.0) {
    m.warnings.push_back(
        fmt::format("EXIF GPS position {}, {} is no place on Earth; ignored", *t.latitude_deg, *t.longitude_deg));
  } else if (*t.latitude_deg != 0.0 || *t.longitude_deg != 0.0) {  // 0, 0 is how a receiver without a fix says so
    m.site = Sourced<Site>{{Angle::deg(*t.latitude_deg), Angle::deg(*t.longitude_deg), t.height_m.value_or(0.0)},
                           t.height_m ? "EXIF GPS position and altitude" : "EXIF GPS position"};
  }
}

std::optional<double> focal_plane_unit_um(int unit) {
  switch (unit) {
    case 2:
      return 25400.0;
    case 3:
      return 10000.0;
    case 4:
      return 1000.0;
    case 5:
      return 1.0;
    default:
      return {};
  }
}

bool plausible_pitch(double um) {
  return um >= 0.5 && um <= 60.0;
}

/// Pixel pitch from the focal-plane resolution, else from the ratio of the 35 mm equivalent to the focal length (both
/// rounded to a millimetre, so good to a few per cent), by the frame diagonal as CIPA DCG-001 defines it.
void read_pitch(const ExifTags& t, int width, int height, int binned, FrameMetadata& m) {
  const auto unit = focal_plane_unit_um(t.focal_plane_unit);
  if (t.focal_plane_px_per_unit && unit) {
    double um = *unit / *t.focal_plane_px_per_unit * binned;
    std::string source = "EXIF FocalPlaneXResolution";
    // The resolution belongs to the picture as the camera stored it; a smaller one was resized, not cropped.
    const double shrunk = t.full_width_px ? *t.full_width_px / (static_cast<double>(width) * binned) : 1.0;
    if (shrunk > 1.2) {
      um *= shrunk;
      source += ", PixelXDimension";
    }
    if (plausible_pitch(um)) m.pixel_pitch_um = Sourced<double>{um, source};
  }
  if (!m.pixel_pitch_um && t.focal_length_35mm_mm && t.focal_length_mm) {
    constexpr double kDiagonal35_mm = 43.27;
    const double um =
        1000.0 * kDiagonal35_mm * *t.focal_length_mm / *t.focal_length_35mm_mm / std::hypot(width, height);
    if (plausible_pitch(um)) m.pixel_pitch_um = Sourced<double>{um, "EXIF FocalLengthIn35mmFilm (to a few per cent)"};
  }
  if (m.pixel_pitch_um)
    m.sensor_width_mm =
        Sourced<double>{m.pixel_pitch_um->value * width / 1000.0, m.pixel_pitch_um->source + " × width"};
}

template <class T>
MaybeSourced<T> sourced(const std::optional<T>& value, const char* source) {
  return value ? MaybeSourced<T>({*value, source}) : std::nullopt;
}

}  // namespace

FrameMetadata metadata_from_exif(const ExifTags& t, int width, int height, int binned, const ReadOptions& options) {
  FrameMetadata m;
  m.exposure_s = sourced(t.exposure_s, "EXIF ExposureTime");
  m.focal_length_mm = sourced(t.focal_length_mm, "EXIF FocalLength");
  m.f_number = sourced(t.f_number, "EXIF FNumber");
  m.iso = sourced(t.iso, "EXIF PhotographicSensitivity");
  m.air_temperature_c = sourced(t.air_temperature_c, "EXIF Temperature");
  m.air_pressure_hpa = sourced(t.air_pressure_hpa, "EXIF Pressure");
  // Many makers repeat their name in the model.
  m.camera = t.model.starts_with(t.make) ? t.model : t.make + (t.make.empty() || t.model.empty() ? "" : " ") + t.model;
  m.lens = t.lens;
  read_time(t, options, m);
  read_site(t, m);
  read_pitch(t, width, height, binned, m);
  return m;
}

}  // namespace polewright
