#include <fmt/format.h>

#include <cmath>
#include <exiv2/exiv2.hpp>
#include <mutex>

#include "frame/exif.hpp"

namespace polewright {
namespace {

std::mutex& xmp_mutex() {
  static std::mutex mutex;
  return mutex;
}

void lock_xmp(void* /*data*/, bool lock) {
  if (lock) {
    xmp_mutex().lock();
  } else {
    xmp_mutex().unlock();
  }
}

/// Makes the library silent and its XMP parser safe for several threads; its own instructions ask for this once.
void prepare_library() {
  static std::once_flag once;
  std::call_once(once, [] {
    Exiv2::LogMsg::setLevel(Exiv2::LogMsg::mute);
    Exiv2::LogMsg::setHandler(nullptr);
    Exiv2::XmpParser::initialize(lock_xmp, nullptr);
    Exiv2::enableBMFF(true);
  });
}

/// Looks tags up by group and number, since the library's names for the newer ones change between versions.
class Lookup {
 public:
  explicit Lookup(const Exiv2::ExifData& data) : data_(data) {}

  [[nodiscard]] const Exiv2::Exifdatum* find(const char* group, std::uint16_t tag) const {
    for (const Exiv2::Exifdatum& d : data_)
      if (d.tag() == tag && d.groupName() == group && d.count() > 0) return &d;
    return nullptr;
  }
  [[nodiscard]] std::string text(const char* group, std::uint16_t tag) const {
    const auto* d = find(group, tag);
    std::string value = d ? d->toString() : std::string();
    const auto end = value.find_last_not_of(std::string(" \0", 2));
    value.resize(end == std::string::npos ? 0 : end + 1);
    return value;
  }
  [[nodiscard]] std::optional<double> number(const char* group, std::uint16_t tag, long index = 0) const {
    const auto* d = find(group, tag);
    if (!d || d->count() <= index) return {};
    if (d->typeId() == Exiv2::unsignedRational || d->typeId() == Exiv2::signedRational) {
      const auto [over, under] = d->toRational(index);
      // An unsigned rational reaches us through a signed type.
      const bool is_signed = d->typeId() == Exiv2::signedRational;
      const double n = is_signed ? over : static_cast<double>(static_cast<std::uint32_t>(over));
      const double m = is_signed ? under : static_cast<double>(static_cast<std::uint32_t>(under));
      return m != 0.0 ? std::optional(n / m) : std::nullopt;
    }
    const double v = static_cast<double>(d->toFloat(index));
    return std::isfinite(v) ? std::optional(v) : std::nullopt;
  }
  /// The EXIF directory first, then the main one, where TIFF/EP files put the same tags.
  [[nodiscard]] std::optional<double> photo(std::uint16_t tag) const {
    const auto v = number("Photo", tag);
    return v ? v : number("Image", tag);
  }

 private:
  const Exiv2::ExifData& data_;
};

std::optional<double> positive(std::optional<double> v) {
  return v && *v > 0.0 ? v : std::nullopt;
}

/// Degrees, minutes, seconds in three rationals; blank minutes or seconds count as zero.
std::optional<double> gps_angle_deg(const Lookup& in, std::uint16_t tag, const char* negative_letter) {
  const auto degrees = in.number("GPSInfo", tag);
  if (!degrees) return {};
  const double v = *degrees + in.number("GPSInfo", tag, 1).value_or(0.0) / 60.0 +
                   in.number("GPSInfo", tag, 2).value_or(0.0) / 3600.0;
  return in.text("GPSInfo", static_cast<std::uint16_t>(tag - 1)) == negative_letter ? -v : v;
}

void read_time_tags(const Lookup& in, ExifTags& t) {
  struct Source {
    const char* group;
    std::uint16_t time, zone, sub_seconds;
    const char* name;
  };
  // OffsetTime and SubSecTime belong to DateTime of the main directory. DateTime itself changes when a picture is
  // edited, so it is the last to ask.
  for (const Source& s : {Source{"Photo", 0x9003, 0x9011, 0x9291, "DateTimeOriginal"},
                          Source{"Photo", 0x9004, 0x9012, 0x9292, "DateTimeDigitized"},
                          Source{"Image", 0x9003, 0x9011, 0x9291, "DateTimeOriginal"},
                          Source{"Image", 0x0132, 0x9010, 0x9290, "DateTime"}}) {
    t.date_time_original = in.text(s.group, s.time);
    if (t.date_time_original.empty() || t.date_time_original.starts_with("0000")) continue;
    t.date_time_source = s.name;
    t.sub_seconds = in.text("Photo", s.sub_seconds);
    t.zone = in.text("Photo", s.zone);
    t.zone_source = s.time == 0x9003 ? "OffsetTimeOriginal" : s.time == 0x9004 ? "OffsetTimeDigitized" : "OffsetTime";
    if (t.zone.empty()) {
      t.zone = in.text("Photo", 0x9010);  // one clock: its zone holds for the exposure too
      t.zone_source = "OffsetTime";
    }
    return;
  }
}

void read_gps_tags(const Lookup& in, ExifTags& t) {
  t.gps_date = in.text("GPSInfo", 0x1D);
  const auto h = in.number("GPSInfo", 7), m = in.number("GPSInfo", 7, 1), s = in.number("GPSInfo", 7, 2);
  if (h && m && s) t.gps_time = fmt::format("{:02.0f}:{:02.0f}:{:05.2f}", *h, *m, *s);
  t.latitude_deg = gps_angle_deg(in, 2, "S");
  t.longitude_deg = gps_angle_deg(in, 4, "W");
  t.height_m = in.number("GPSInfo", 6);
  // Reference 1: below sea level.
  if (t.height_m && in.number("GPSInfo", 5).value_or(0.0) == 1.0) t.height_m = -*t.height_m;
}

ExifTags read_tags(const Exiv2::ExifData& data) {
  const Lookup in(data);
  ExifTags t;
  t.make = in.text("Image", 0x010F);
  t.model = in.text("Image", 0x0110);
  t.lens = in.text("Photo", 0xA434);
  read_time_tags(in, t);
  read_gps_tags(in, t);
  t.exposure_s = positive(in.photo(0x829A));
  t.f_number = positive(in.photo(0x829D));
  t.iso = positive(in.photo(0x8827));
  // The 16-bit ISO tag stops at 65535; RecommendedExposureIndex goes on.
  if (t.iso == 65535.0) t.iso = positive(in.number("Photo", 0x8832));
  t.focal_length_mm = positive(in.photo(0x920A));
  t.focal_length_35mm_mm = positive(in.photo(0xA405));
  t.focal_plane_px_per_unit = positive(in.number("Photo", 0xA20E));
  t.focal_plane_unit = static_cast<int>(in.number("Photo", 0xA210).value_or(2.0));
  if (!t.focal_plane_px_per_unit) {
    t.focal_plane_px_per_unit = positive(in.number("Image", 0x920E));
    t.focal_plane_unit = static_cast<int>(in.number("Image", 0x9210).value_or(2.0));
  }
  t.full_width_px = positive(in.number("Photo", 0xA002));
  for (const char* group : {"Image", "SubImage1", "SubImage2"}) {
    if (!in.find(group, 50829)) continue;
    t.active_top = static_cast<int>(in.number(group, 50829, 0).value_or(0.0));
    t.active_left = static_cast<int>(in.number(group, 50829, 1).value_or(0.0));
    break;
  }
  t.air_temperature_c = in.number("Photo", 0x9400);
  t.air_pressure_hpa = positive(in.number("Photo", 0x9402));
  return t;
}

}  // namespace

ExifTags read_exif(const std::filesystem::path& path) {
  prepare_library();
  try {
    const auto image = Exiv2::ImageFactory::open(path.string());
    image->readMetadata();
    return read_tags(image->exifData());
  } catch (const std::exception&) {
    return {};  // no EXIF is an ordinary state; damaged EXIF is no reason to refuse the pixels
  }
}

}  // namespace polewright
