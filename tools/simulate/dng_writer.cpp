#include <fmt/format.h>

#include <bit>
#include <cmath>
#include <fstream>

#include "simulate/lossless_jpeg.hpp"
#include "simulate/simulate.hpp"
#include "simulate/tiff_directory.hpp"

namespace polewright::simulate {
namespace {

std::string exif_date(const CalendarTime& t) {
  return fmt::format("{:04}:{:02}:{:02} {:02}:{:02}:{:02}", t.year, t.month, t.day, t.hour, t.minute,
                     static_cast<int>(t.second));
}

std::string milliseconds(const CalendarTime& t) {
  return fmt::format("{:03}", static_cast<int>(std::floor((t.second - std::floor(t.second)) * 1000.0 + 1e-3)));
}

std::string zone_text(int offset_s) {
  const int minutes = std::abs(offset_s) / 60;
  return fmt::format("{}{:02}:{:02}", offset_s < 0 ? '-' : '+', minutes / 60, minutes % 60);
}

/// EXIF stamps tell when the shutter opened, to the millisecond below which a camera knows nothing.
UtcTime shutter_opens(const FrameMetadata& m) {
  const UtcTime t = m.mid_time->value.plus_seconds(-0.5 * m.exposure_s->value);
  return UtcTime::from_unix_us((t.unix_us() + 500) / 1000 * 1000);
}

TiffDirectory exif_directory(const Frame& frame, const DngOptions& options) {
  const FrameMetadata& m = frame.metadata;
  TiffDirectory exif;
  exif.undefined(0x9000, {'0', '2', '3', '1'});
  if (m.exposure_s) exif.rationals(0x829A, {m.exposure_s->value}, 1000);
  if (m.f_number) exif.rationals(0x829D, {m.f_number->value}, 10);
  if (m.iso) exif.shorts(0x8827, {static_cast<std::uint16_t>(m.iso->value)});
  if (m.mid_time && m.exposure_s) {
    const CalendarTime local = shutter_opens(m).plus_seconds(options.zone_offset_s.value_or(0)).calendar();
    exif.text(0x9003, exif_date(local));
    exif.text(0x9004, exif_date(local));
    exif.text(0x9291, milliseconds(local));
    if (options.zone_offset_s)
      for (const std::uint16_t tag : {0x9010, 0x9011, 0x9012}) exif.text(tag, zone_text(*options.zone_offset_s));
  }
  if (m.focal_length_mm) {
    exif.rationals(0x920A, {m.focal_length_mm->value}, 10);
    if (m.pixel_pitch_um) {
      const double per_cm = 10000.0 / m.pixel_pitch_um->value;
      exif.rationals(0xA20E, {per_cm}, 10000);
      exif.rationals(0xA20F, {per_cm}, 10000);
      exif.shorts(0xA210, {3});
      const double diagonal_mm = std::hypot(frame.width, frame.height) * m.pixel_pitch_um->value * 1e-3;
      exif.shorts(0xA405, {static_cast<std::uint16_t>(std::lround(m.focal_length_mm->value * 43.267 / diagonal_mm))});
    }
  }
  if (!m.lens.empty()) exif.text(0xA434, m.lens);
  return exif;
}

std::vector<double> sexagesimal(Angle angle) {
  const double minutes = std::abs(angle.deg()) * 60.0, whole_deg = std::floor(minutes / 60.0);
  const double whole_min = std::floor(minutes - 60.0 * whole_deg);
  return {whole_deg, whole_min, (minutes - 60.0 * whole_deg - whole_min) * 60.0};
}

TiffDirectory gps_directory(const FrameMetadata& m) {
  TiffDirectory gps;
  const Site& site = m.site->value;
  const Angle longitude = site.longitude.wrapped_signed();
  gps.bytes(0, {2, 3, 0, 0});
  gps.text(1, site.latitude.deg() < 0.0 ? "S" : "N");
  gps.rationals(2, sexagesimal(site.latitude), 10000);
  gps.text(3, longitude.deg() < 0.0 ? "W" : "E");
  gps.rationals(4, sexagesimal(longitude), 10000);
  gps.bytes(5, {static_cast<std::uint8_t>(site.height_m < 0.0 ? 1 : 0)});
  gps.rationals(6, {std::abs(site.height_m)}, 100);
  if (m.mid_time && m.exposure_s) {
    const CalendarTime t = shutter_opens(m).calendar();
    gps.rationals(7, {static_cast<double>(t.hour), static_cast<double>(t.minute), t.second}, 1000);
    gps.text(0x1D, fmt::format("{:04}:{:02}:{:02}", t.year, t.month, t.day));
  }
  return gps;
}

TiffDirectory image_directory(const Frame& frame) {
  TiffDirectory d;
  d.longs(254, {0});
  d.longs(256, {static_cast<std::uint32_t>(frame.width)});
  d.longs(257, {static_cast<std::uint32_t>(frame.height)});
  d.shorts(258, {16});
  d.shorts(262, {32803});
  const std::string& camera = frame.metadata.camera;
  d.text(271, camera.substr(0, camera.find(' ')));
  d.text(272, camera);
  d.shorts(274, {1});
  d.shorts(277, {1});
  d.longs(278, {static_cast<std::uint32_t>(frame.height)});
  d.shorts(284, {1});
  d.shorts(33421, {2, 2});
  std::vector<std::uint8_t> pattern;
  for (const FilterColour c : frame.mosaic.colour)
    pattern.push_back(c == FilterColour::red ? 0 : c == FilterColour::blue ? 2 : 1);
  d.bytes(33422, pattern);
  d.bytes(50706, {1, 4, 0, 0});
  d.bytes(50707, {1, 1, 0, 0});
  d.text(50708, camera);
  d.bytes(50710, {0, 1, 2});
  d.shorts(50711, {1});
  d.shorts(50713, {2, 2});
  std::vector<std::uint16_t> black;
  for (const double b : frame.black_level) black.push_back(static_cast<std::uint16_t>(std::lround(b)));
  d.shorts(50714, black);
  d.longs(50717, {static_cast<std::uint32_t>(frame.white_level)});
  // A plausible sensor: XYZ to camera for standard illuminant D65 (21).
  d.signed_rationals(50721, {0.80, -0.25, -0.07, -0.42, 1.22, 0.22, -0.07, 0.15, 0.58}, 10000);
  d.rationals(50728, {0.52, 1.0, 0.66}, 10000);
  d.shorts(50778, {21});
  return d;
}

std::vector<std::uint8_t> strip_of(const Frame& frame, bool compressed) {
  if (compressed)
    return lossless_jpeg(frame.pixels, frame.width, frame.height,
                         std::bit_width(static_cast<unsigned>(frame.white_level)));
  std::vector<std::uint8_t> strip;
  strip.reserve(2 * frame.pixels.size());
  for (const std::uint16_t v : frame.pixels) append_le(strip, v, 2);
  return strip;
}

}  // namespace

Status write_dng(const std::filesystem::path& path, const Frame& frame, const DngOptions& options) {
  if (!frame.mosaic.is_colour())
    return Error{ErrorCode::write_failed, path.string(), "a frame without colour filters", "a mosaic such as RGGB",
                 "Set detector.mosaic."};
  const auto strip = strip_of(frame, options.lossless_jpeg);
  TiffDirectory image = image_directory(frame);
  const bool gps = options.gps && frame.metadata.site.has_value();
  image.shorts(259, {static_cast<std::uint16_t>(options.lossless_jpeg ? 7 : 1)});
  image.longs(273, {0});
  image.longs(279, {static_cast<std::uint32_t>(strip.size())});
  image.longs(34665, {0});
  if (gps) image.longs(34853, {0});
  const TiffDirectory exif = exif_directory(frame, options);
  const TiffDirectory place = gps ? gps_directory(frame.metadata) : TiffDirectory{};

  // Header, the three directories, then the pixels; sizes are known before the offsets are.
  const std::size_t image_at = 8, exif_at = image_at + image.size(), gps_at = exif_at + exif.size();
  const std::size_t strip_at = gps_at + (gps ? place.size() : 0);
  image.longs(273, {static_cast<std::uint32_t>(strip_at)});
  image.longs(34665, {static_cast<std::uint32_t>(exif_at)});
  if (gps) image.longs(34853, {static_cast<std::uint32_t>(gps_at)});

  std::vector<std::uint8_t> head{'I', 'I', 42, 0};
  append_le(head, image_at, 4);
  const auto append = [&](const std::vector<std::uint8_t>& part) { head.insert(head.end(), part.begin(), part.end()); };
  append(image.laid_out(image_at));
  append(exif.laid_out(exif_at));
  if (gps) append(place.laid_out(gps_at));

  std::ofstream out(path, std::ios::binary);
  out.write(reinterpret_cast<const char*>(head.data()), static_cast<std::streamsize>(head.size()));
  out.write(reinterpret_cast<const char*>(strip.data()), static_cast<std::streamsize>(strip.size()));
  out.close();
  if (!out) return Error{ErrorCode::write_failed, path.string(), "not written whole", "a writable place", ""};
  return std::nullopt;
}

}  // namespace polewright::simulate
