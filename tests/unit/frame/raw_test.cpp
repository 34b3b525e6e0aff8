// Camera raw: DNG files written tag by tag (Adobe DNG specification 1.4), read without interpolation of colours.
#include <stdlib.h>
#include <time.h>

#include <catch2/catch.hpp>
#include <cmath>

#include "polewright/frame.hpp"
#include "scratch.hpp"
#include "writers/dng_file.hpp"

using namespace polewright;
using namespace polewright::test;
using enum polewright::FilterColour;

namespace {

DngFile ramp() {
  DngFile f;
  for (int i = 0; i < f.width * f.height; ++i) f.samples.push_back(static_cast<std::uint16_t>(600 + 17 * i));
  f.white = 16383;
  return f;
}

Frame read(const DngFile& file, const ReadOptions& options = {}) {
  const Scratch scratch;
  write_dng(scratch / "frame.dng", file);
  const auto frame = read_frame(scratch / "frame.dng", options);
  INFO((frame.ok() ? std::string() : frame.error().message()));
  REQUIRE(frame.ok());
  return *frame;
}

/// The process's time zone for one test.
class TimeZone {
 public:
  explicit TimeZone(const char* zone) {
    ::setenv("TZ", zone, 1);
    ::tzset();
  }
  ~TimeZone() {
    ::unsetenv("TZ");
    ::tzset();
  }
};

}  // namespace

TEST_CASE("samples are those stored, in every pattern") {
  struct Case {
    std::array<std::uint8_t, 4> cfa;
    std::array<FilterColour, 4> colour;
  };
  const auto c = GENERATE(Case{{0, 1, 1, 2}, {red, green, green, blue}}, Case{{2, 1, 1, 0}, {blue, green, green, red}},
                          Case{{1, 0, 2, 1}, {green, red, blue, green}}, Case{{1, 2, 0, 1}, {green, blue, red, green}});
  DngFile file = ramp();
  file.cfa = c.cfa;
  const Frame f = read(file);
  CHECK(f.kind == FileKind::raw);
  REQUIRE(f.width == 32);
  REQUIRE(f.height == 24);
  CHECK(f.pixels == file.samples);
  CHECK(f.mosaic.colour == c.colour);
  CHECK(f.planes_combined == 1);
  CHECK(f.binned == 1);
  CHECK_FALSE(f.lossy);
}

TEST_CASE("black level: none, one, or 2×2; white level given or not") {
  DngFile file = ramp();
  CHECK(read(file).black_level == std::array<double, 4>{0, 0, 0, 0});
  CHECK(read(file).white_level == 16383.0);
  file.black = {512};
  CHECK(read(file).black_level == std::array<double, 4>{512, 512, 512, 512});
  file.black = {510, 512, 514, 520};
  CHECK(read(file).black_level == std::array<double, 4>{510, 512, 514, 520});
  SECTION("other patterns keep the places of their levels") {
    file.cfa = {1, 2, 0, 1};
    CHECK(read(file).black_level == std::array<double, 4>{510, 512, 514, 520});
  }
  SECTION("without WhiteLevel the specification says 2¹⁶ − 1") {
    file.white.reset();
    CHECK(read(file).white_level == 65535.0);
  }
  SECTION("without WhiteLevel, but clipped at 14 bits") {
    file.white.reset();
    for (std::size_t i = 0; i < file.samples.size(); ++i) file.samples[i] = i % 50 == 0 ? 16383 : 600;
    CHECK(read(file).white_level == 16383.0);
  }
}

TEST_CASE("the active area is cut out at even pixels and both patterns keep their places") {
  DngFile file = ramp();
  file.height = 40;
  file.samples.clear();
  for (int i = 0; i < 32 * 40; ++i) file.samples.push_back(static_cast<std::uint16_t>(600 + 11 * i));
  file.active_area = {3, 5, 39, 31};  // top, left, bottom, right; both offsets odd
  file.black = {510, 512, 514, 520};
  const Frame f = read(file);
  // An odd corner moves to the next even pixel, here by one each way.
  REQUIRE(f.width == 25);
  REQUIRE(f.height == 35);
  CHECK(f.at(0, 0) == file.samples[4 * 32 + 6]);
  CHECK(f.at(24, 34) == file.samples[38 * 32 + 30]);
  // CFAPattern and BlackLevel are relative to the active area (DNG 1.4, ActiveArea and BlackLevelRepeatDim).
  CHECK(f.mosaic.colour == std::array{blue, green, green, red});
  CHECK(f.black_level == std::array<double, 4>{520, 514, 512, 510});
}

TEST_CASE("a 6×6 pattern becomes the mean of 3×3 blocks") {
  DngFile file = ramp();
  file.width = 36;
  file.height = 24;
  // The published X-Trans layout: every 3×3 quarter holds five green, two red, two blue.
  const std::string pattern =
      "GGRGGB"
      "GGBGGR"
      "BRGRBG"
      "GGBGGR"
      "GGRGGB"
      "RBGBRG";
  file.cfa_large.clear();
  for (const char c : pattern) file.cfa_large.push_back(c == 'R' ? 0 : c == 'G' ? 1 : 2);
  file.samples.clear();
  for (int y = 0; y < 24; ++y)
    for (int x = 0; x < 36; ++x) {
      const char c = pattern[static_cast<std::size_t>(y % 6 * 6 + x % 6)];
      file.samples.push_back(c == 'R' ? 1000 : c == 'G' ? 2000 : 1500);
    }
  const Frame f = read(file);
  CHECK(f.binned == 3);
  REQUIRE(f.width == 12);
  REQUIRE(f.height == 8);
  CHECK_FALSE(f.mosaic.is_colour());
  // (2·1000 + 5·2000 + 2·1500)/9; the sample is rounded to a quarter.
  for (const std::uint16_t v : f.pixels) CHECK(f.zero + f.scale * v == Approx(15000.0 / 9).margin(0.125));
  CHECK(f.white_level * f.scale == Approx(16383.0));
}

TEST_CASE("linear raw: three colours averaged") {
  DngFile file = ramp();
  file.linear = true;
  file.samples.clear();
  for (int i = 0; i < file.width * file.height; ++i)
    for (const int v : {300, 600 + i, 900}) file.samples.push_back(static_cast<std::uint16_t>(v));
  const Frame f = read(file);
  CHECK(f.planes_combined == 3);
  CHECK_FALSE(f.mosaic.is_colour());
  REQUIRE(f.pixels.size() == static_cast<std::size_t>(file.width * file.height));
  for (std::size_t i = 0; i < f.pixels.size(); ++i)
    CHECK(f.zero + f.scale * f.pixels[i] == Approx(600.0 + static_cast<double>(i) / 3).margin(0.34));
}

TEST_CASE("time of raw files does not depend on this computer's zone") {
  const char* zone = GENERATE("UTC", "America/Los_Angeles", "Asia/Kathmandu");
  const TimeZone set(zone);
  DngFile file = ramp();
  file.date_time_original = "2026:08:12 22:01:07";
  file.exposure = {60, 1};
  CAPTURE(zone);
  SECTION("zone recorded") {
    file.offset_time_original = "+02:00";
    const Frame f = read(file);
    REQUIRE(f.metadata.mid_time);
    CHECK(f.metadata.mid_time->value.iso() == "2026-08-12T20:01:37.000Z");
    CHECK(f.metadata.mid_time->source == "EXIF DateTimeOriginal, zone from OffsetTimeOriginal");
    CHECK_FALSE(f.metadata.mid_local_time);
  }
  SECTION("fraction of a second") {
    file.offset_time_original = "+02:00";
    file.sub_seconds = "25";
    const Frame f = read(file);
    CHECK(f.metadata.mid_time->value.iso() == "2026-08-12T20:01:37.250Z");
    CHECK(f.metadata.mid_time_sigma_s == Approx(0.01));
  }
  SECTION("no zone, none given") {
    const Frame f = read(file);
    CHECK_FALSE(f.metadata.mid_time);
    REQUIRE(f.metadata.mid_local_time);
    CHECK(f.metadata.mid_local_time->value.minute == 1);
    CHECK(f.metadata.mid_local_time->value.second == 37.0);
    CHECK(f.metadata.mid_time_sigma_s == Approx(1 / std::sqrt(6.0)));
  }
  SECTION("no zone, option given") {
    ReadOptions options;
    options.utc_offset_s = -5 * 3600;
    const Frame f = read(file, options);
    CHECK(f.metadata.mid_time->value.iso() == "2026-08-13T03:01:37.000Z");
    CHECK(f.metadata.mid_time->source == "EXIF DateTimeOriginal, zone from option --utc-offset");
  }
  SECTION("the recorded zone outranks the option") {
    file.offset_time_original = "+02:00";
    ReadOptions options;
    options.utc_offset_s = -5 * 3600;
    CHECK(read(file, options).metadata.mid_time->value.iso() == "2026-08-12T20:01:37.000Z");
  }
}

TEST_CASE("optics and camera of raw files") {
  DngFile file = ramp();
  file.exposure = {1, 4};
  file.f_number = {28, 10};
  file.focal_length = {50, 1};
  file.focal_plane_px_per_cm = 2564.1026;  // 3.9 µm
  file.iso = 1600;
  const auto m = read(file).metadata;
  CHECK(m.exposure_s->value == 0.25);
  CHECK(m.f_number->value == Approx(2.8));
  CHECK(m.focal_length_mm->value == 50.0);
  CHECK(m.iso->value == 1600.0);
  // The tag was rounded to 1e-4 px per cm.
  CHECK(m.pixel_pitch_um->value == Approx(3.9).epsilon(1e-6));
  CHECK(m.camera == "Testmaker One");
  CHECK(m.lens == "Test 50mm f/2");
}

TEST_CASE("metadata only leaves raw samples undecoded") {
  ReadOptions options;
  options.metadata_only = true;
  const Frame f = read(ramp(), options);
  CHECK(f.pixels.empty());
  CHECK(f.width == 32);
  CHECK(f.mosaic.colour == std::array{red, green, green, blue});
  CHECK(f.white_level == 16383.0);
}
