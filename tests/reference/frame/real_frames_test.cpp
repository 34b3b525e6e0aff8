// Real files beside the checkout; not part of the project. The expected values are read from the headers and their
// description by eye.
#include <algorithm>
#include <catch2/catch.hpp>

#include "polewright/frame.hpp"
#include "support/check_values.hpp"

using namespace polewright;

namespace {

std::vector<std::filesystem::path> files_of(const std::string& set) {
  const auto folder = test::real_frames(set);
  std::vector<std::filesystem::path> files;
  if (folder)
    for (const auto& entry : std::filesystem::directory_iterator(*folder)) files.push_back(entry.path());
  std::sort(files.begin(), files.end());
  if (files.empty()) WARN("skipped: no real frames '" << set << "' beside the checkout");
  return files;
}

}  // namespace

TEST_CASE("a night's FITS sequence with local DATE-OBS and west-positive longitude") {
  for (const auto& file : files_of("tracked_sequence")) {
    INFO(file);
    CHECK(looks_like_frame(file));
    const auto frame = read_frame(file);
    REQUIRE(frame.ok());
    CHECK(frame->width == 650);
    CHECK(frame->height == 500);
    const FrameMetadata& m = frame->metadata;
    CHECK(m.exposure_s->value == 60.0);
    REQUIRE(m.mid_time);
    // The name carries the start in UT as MMddyyHHmmss, 'HATP-32171220014512' = 2017-12-20 01:45:12.
    const std::string stem = file.stem().string();
    const auto digit_pair = [&](std::size_t at) { return std::stoi(stem.substr(at, 2)); };
    const UtcTime start = UtcTime::from_calendar({2000 + digit_pair(7), digit_pair(9), digit_pair(11), digit_pair(13),
                                                  digit_pair(15), static_cast<double>(digit_pair(17))});
    // The name drops the fraction of a second.
    CHECK(m.mid_time->value.seconds_since(start) == Approx(30.5).margin(0.51));
    REQUIRE(m.site);
    CHECK(m.site->value.latitude.deg() == Approx(31.68));
    CHECK(m.site->value.longitude.deg() == Approx(-110.88));
    REQUIRE(m.pointing);
    CHECK(right_ascension_of(m.pointing->centre).deg() == Approx(31.312099));
    CHECK(declination_of(m.pointing->centre).deg() == Approx(46.769087));
    CHECK(m.scale_arcsec_per_px->value == 5.21);
    // A 12-bit camera: the brightest star sits at 4095.
    CHECK(frame->zero + frame->scale * frame->white_level == 4095.0);
  }
}

TEST_CASE("16-bit monochrome TIFF without metadata") {
  for (const auto& file : files_of("wide_11deg")) {
    INFO(file);
    const auto frame = read_frame(file);
    REQUIRE(frame.ok());
    CHECK(frame->kind == FileKind::tiff);
    CHECK(frame->width == 1024);
    CHECK(frame->height == 768);
    CHECK(frame->planes_combined == 1);
    CHECK_FALSE(frame->metadata.mid_time);
    CHECK_FALSE(frame->metadata.site);
    CHECK(*std::max_element(frame->pixels.begin(), frame->pixels.end()) > 30000);
  }
}
