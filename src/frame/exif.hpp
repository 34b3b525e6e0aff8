// EXIF of TIFF, PNG, JPEG and camera raw -> metadata.
#pragma once

#include <filesystem>

#include "polewright/frame.hpp"

namespace polewright {

/// The EXIF tags this program uses, as written. Kept apart from their meaning so that both can be tested.
struct ExifTags {
  std::string make, model, lens;
  std::string date_time_original, sub_seconds, zone;  ///< zone: OffsetTimeOriginal, Digitized or OffsetTime
  std::string date_time_source, zone_source;
  std::string gps_date, gps_time;  ///< 'YYYY:MM:DD', 'hh:mm:ss.s', UTC
  std::optional<double> exposure_s, f_number, iso, focal_length_mm, focal_length_35mm_mm;
  std::optional<double> focal_plane_px_per_unit;
  int focal_plane_unit = 2;             ///< 2 inch, 3 cm, 4 mm, 5 µm
  std::optional<double> full_width_px;  ///< PixelXDimension: what the focal-plane resolution refers to
  std::optional<double> air_temperature_c, air_pressure_hpa;
  int active_top = 0, active_left = 0;  ///< DNG ActiveArea, from which its black level pattern counts
  std::optional<double> latitude_deg, longitude_deg, height_m;
};

/// Reads the tags with Exiv2; empty when the file has none or they are damaged. Never throws, never prints.
ExifTags read_exif(const std::filesystem::path& path);

/// Meaning of the tags for a picture of width×height whose pixels average `binned`×`binned` stored ones.
/// EXIF times are taken as the start of the exposure (common practice, no source).
FrameMetadata metadata_from_exif(const ExifTags& tags, int width, int height, int binned, const ReadOptions& options);

}  // namespace polewright
