// Trails that no movement of the field makes: what is said of them must follow from the frames.
#include "diagnose/left_over.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "polewright/diagnose.hpp"

using namespace polewright;

namespace {

NightField plain_field() {
  NightField field;
  field.width_px = 3000;
  field.height_px = 2000;
  field.focal_px = 40000.0;
  return field;
}

/// Frames of a field that stands still, each with the trail given for it (px and degrees).
template <class Trail>
std::vector<NightFrame> still_frames(int count, double interval_s, const Trail& trail) {
  std::mt19937 random(5);
  std::normal_distribution<double> normal;
  std::vector<NightFrame> out;
  for (int i = 0; i < count; ++i) {
    NightFrame f;
    f.time_s = interval_s * i;
    f.exposure_s = 60.0;
    f.stars = 300;
    f.fwhm_px = 1.65;
    f.place = FieldPlace{0.1 * normal(random), 0.1 * normal(random), 0.0, 0.02, 1e-6};
    const auto [length, deg] = trail(i, random);
    const double angle = deg * std::numbers::pi / 180.0;
    f.trail = MeasuredTrail{length * std::cos(angle), length * std::sin(angle), {0.001, 0.0, 0.001}, 0.0, length, 0.03};
    out.push_back(f);
  }
  return out;
}

using Drawn = std::pair<double, double>;

bool noted(const NightDiagnosis& d, const std::string& words) {
  for (const std::string& n : d.notes)
    if (n.find(words) != std::string::npos) return true;
  return false;
}

}  // namespace

TEST_CASE("a trail as long as a star is wide makes it a fifth longer only") {
  // Second moments: σ = FWHM/2.3548 = 0.7007 px, along σ² + 1.7²/12 = 0.7318 px², √(0.7318/0.4910) = 1.221.
  CHECK(diagnose::length_to_width(1.7, 1.65) == Approx(1.221).margin(0.001));
  CHECK(diagnose::length_to_width(0.0, 2.0) == 1.0);
}

TEST_CASE("the optics' own elongation, alike on every frame of a still field, is told from a movement") {
  std::normal_distribution<double> normal;
  const auto frames = still_frames(12, 65.0, [&](int, std::mt19937& random) {
    return Drawn{1.6 + 0.03 * normal(random), 30.0 + 1.0 * normal(random)};
  });
  const NightDiagnosis d = diagnose_night(frames, plain_field());
  CHECK(noted(d, "drawn out alike, 1.6 px at 30°"));
  for (const NightCause& c : d.causes) CHECK(c.cause != "axis misalignment");
}

TEST_CASE("trails that differ while the field stands still: frames far apart are called for closer ones") {
  const auto wild = [](int, std::mt19937& random) {
    return Drawn{std::uniform_real_distribution<double>(1.5, 4.0)(random),
                 std::uniform_real_distribution<double>(-90.0, 90.0)(random)};
  };
  const NightDiagnosis apart = diagnose_night(still_frames(12, 900.0, wild), plain_field());
  REQUIRE_FALSE(apart.causes.empty());
  CHECK(apart.causes[0].cause == "unexplained");
  CHECK(apart.causes[0].evidence.find("times as long as wide") != std::string::npos);
  CHECK(noted(apart, "frames 15 minutes apart cannot show which"));
  CHECK_FALSE(noted(apart, "alike"));
  CHECK_FALSE(noted(diagnose_night(still_frames(12, 65.0, wild), plain_field()), "minutes apart"));
}
