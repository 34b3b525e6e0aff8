// TIFF, PNG and JPEG, and the meaning of EXIF (JEITA CP-3451/CIPA DC-008).
#include <catch2/catch.hpp>
#include <cmath>

#include "frame/exif.hpp"
#include "polewright/frame.hpp"
#include "scratch.hpp"
#include "writers/picture_file.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

PictureFile ramp(int bits, int colours) {
  PictureFile p;
  p.bits = bits;
  p.colours = colours;
  const double top = bits == 8 ? 250.0 : 60000.0;
  const int n = p.width * p.height * colours;
  for (int i = 0; i < n; ++i) p.samples.push_back(std::floor(top * i / n));
  return p;
}

Frame read(const PictureFile& file, const std::string& name, const ReadOptions& options = {}) {
  const Scratch scratch;
  write_picture(scratch / name, file);
  const auto frame = read_frame(scratch / name, options);
  INFO((frame.ok() ? std::string() : frame.error().message()));
  REQUIRE(frame.ok());
  return *frame;
}

FrameMetadata meaning(const ExifTags& tags, const ReadOptions& options = {}) {
  return metadata_from_exif(tags, 6000, 4000, 1, options);
}

ExifTags stamp(const std::string& time) {
  ExifTags t;
  t.date_time_original = time;
  t.date_time_source = "DateTimeOriginal";
  t.exposure_s = 60.0;
  return t;
}

}  // namespace

TEST_CASE("lossless pictures give their values back") {
  const std::string name = GENERATE("p.tif", "p.png");
  const int bits = GENERATE(8, 16);
  const int colours = GENERATE(1, 3);
  CAPTURE(name, bits, colours);
  const PictureFile file = ramp(bits, colours);
  const Frame f = read(file, name);
  CHECK(f.kind == (name == "p.tif" ? FileKind::tiff : FileKind::png));
  CHECK_FALSE(f.lossy);
  CHECK(f.planes_combined == colours);
  REQUIRE(f.width == 16);
  REQUIRE(f.height == 12);
  CHECK(f.zero + f.scale * f.white_level == Approx(bits == 8 ? 255.0 : 65535.0).epsilon(0.1));
  if (bits == 8) CHECK(f.scale * f.white_level == Approx(255.0));
  for (std::size_t i = 0; i < f.pixels.size(); ++i) {
    double mean = 0;
    for (int c = 0; c < colours; ++c)
      mean += file.samples[i * static_cast<std::size_t>(colours) + static_cast<std::size_t>(c)] / colours;
    // Exact for one plane; a mean of three is rounded to half a step.
    CHECK(f.zero + f.scale * f.pixels[i] == Approx(mean).margin(colours == 1 ? 1e-9 : 0.51 * f.scale));
  }
}

TEST_CASE("floating-point TIFF") {
  PictureFile file = ramp(32, 1);
  for (double& v : file.samples) v /= 65535.0;
  const Frame f = read(file, "p.tif");
  for (std::size_t i = 0; i < f.pixels.size(); ++i)
    CHECK(f.zero + f.scale * f.pixels[i] == Approx(file.samples[i]).margin(0.51 * f.scale));
}

TEST_CASE("JPEG is marked as lossy") {
  PictureFile file = ramp(8, 3);
  for (double& v : file.samples) v = 120;
  const Frame f = read(file, "p.jpg");
  CHECK(f.kind == FileKind::jpeg);
  CHECK(f.lossy);
  CHECK(f.planes_combined == 3);
  // A flat grey field survives the codec to within a step.
  CHECK(f.scale * f.pixels[100] == Approx(120.0).margin(1.0));
  CHECK(f.scale * f.white_level == Approx(255.0));
}

TEST_CASE("EXIF of pictures, orientation ignored") {
  const std::string name = GENERATE("p.tif", "p.jpg", "p.png");
  PictureFile file = ramp(8, 1);
  file.exif = {{"Exif.Image.Orientation", "6"},
               {"Exif.Image.Make", "Testmaker"},
               {"Exif.Image.Model", "One"},
               {"Exif.Photo.ExposureTime", "30/1"},
               {"Exif.Photo.FNumber", "28/10"},
               {"Exif.Photo.ISOSpeedRatings", "1600"},
               {"Exif.Photo.FocalLength", "50/1"},
               {"Exif.Photo.DateTimeOriginal", "2026:08:12 22:01:07"},
               {"Exif.Photo.OffsetTimeOriginal", "+02:00"},
               {"Exif.GPSInfo.GPSLatitudeRef", "S"},
               {"Exif.GPSInfo.GPSLatitude", "33/1 54/1 0/1"},
               {"Exif.GPSInfo.GPSLongitudeRef", "W"},
               {"Exif.GPSInfo.GPSLongitude", "70/1 48/1 36/1"},
               {"Exif.GPSInfo.GPSAltitudeRef", "0"},
               {"Exif.GPSInfo.GPSAltitude", "2200/1"}};
  CAPTURE(name);
  const Frame f = read(file, name);
  CHECK(f.width == 16);
  CHECK(f.height == 12);
  const auto& m = f.metadata;
  CHECK(m.camera == "Testmaker One");
  CHECK(m.exposure_s->value == 30.0);
  CHECK(m.f_number->value == Approx(2.8));
  CHECK(m.iso->value == 1600.0);
  CHECK(m.focal_length_mm->value == 50.0);
  REQUIRE(m.mid_time);
  CHECK(m.mid_time->value.iso() == "2026-08-12T20:01:22.000Z");
  REQUIRE(m.site);
  CHECK(m.site->value.latitude.deg() == Approx(-33.9));
  CHECK(m.site->value.longitude.deg() == Approx(-70.81));
  CHECK(m.site->value.height_m == 2200.0);
}

TEST_CASE("satellite time gives the zone of a clock that records none") {
  ExifTags t = stamp("2026:08:12 22:01:07");
  t.gps_date = "2026:08:12";
  t.gps_time = "20:00:40.00";
  const auto m = meaning(t);
  REQUIRE(m.mid_time);
  CHECK(m.mid_time->value.iso() == "2026-08-12T20:01:37.000Z");
  CHECK(m.mid_time->source == "EXIF DateTimeOriginal, zone from GPSTimeStamp");
  CHECK(m.warnings.empty());
  t.gps_time = "20:05:40.00";
  CHECK(meaning(t).warnings.size() == 1);  // four and a half minutes besides the zone
  t.date_time_original.clear();
  CHECK(meaning(t).mid_time->value.iso() == "2026-08-12T20:06:10.000Z");
}

TEST_CASE("stamps that are no time") {
  for (const char* bad : {"", "    :  :     :  :  ", "0000:00:00 00:00:00", "2026:13:45 10:00:00"}) {
    const auto m = meaning(stamp(bad));
    CHECK_FALSE(m.mid_time);
    CHECK_FALSE(m.mid_local_time);
  }
}

TEST_CASE("pixel pitch from EXIF") {
  ExifTags t;
  t.focal_plane_px_per_unit = 2564.1026;
  t.focal_plane_unit = 3;
  CHECK(meaning(t).pixel_pitch_um->value == Approx(3.9).epsilon(1e-6));
  t.focal_plane_px_per_unit = 2564.1026 * 2.54;
  t.focal_plane_unit = 2;
  CHECK(meaning(t).pixel_pitch_um->value == Approx(3.9).epsilon(1e-6));
  SECTION("a picture saved at half size has pixels twice as large") {
    t.full_width_px = 12000;
    CHECK(meaning(t).pixel_pitch_um->value == Approx(7.8).epsilon(1e-6));
  }
  SECTION("nonsense is not believed") {
    t.focal_plane_px_per_unit = 72.0;
    CHECK_FALSE(meaning(t).pixel_pitch_um);
  }
  SECTION("35 mm equivalent: 6000×4000 px on 24×16 mm, 50 mm ≙ 75 mm") {
    ExifTags e;
    e.focal_length_mm = 50;
    e.focal_length_35mm_mm = 75;
    // 24 mm / 6000 px = 4 µm.
    CHECK(meaning(e).pixel_pitch_um->value == Approx(4.0).epsilon(0.001));
    CHECK(meaning(e).sensor_width_mm->value == Approx(24.0).epsilon(0.001));
  }
}
