// A worm whose second harmonic is faster than the frames can follow: places show it at another frequency, trails at its
// own.
#include <catch2/catch.hpp>
#include <cmath>
#include <numbers>
#include <random>

#include "polewright/diagnose.hpp"

using namespace polewright;

TEST_CASE("a second harmonic beyond the cadence explains the trails; it is not taken for a slow wave") {
  constexpr double kPeriod_s = 313.0, kCadence_s = 125.0, kExposure_s = 120.0, kFirst_px = 3.0, kSecond_px = 1.3;
  NightField field;
  field.width_px = 6000;
  field.height_px = 4000;
  field.focal_px = 51282.0;                 // 200 mm, 3.9 µm
  field.pole = Vec<Camera>{0.0, 1.0, 0.0};  // a turn about it moves the field along x
  const auto at = [](double t) {
    const double phase = 2.0 * std::numbers::pi * t / kPeriod_s;
    return kFirst_px * std::sin(phase) + kSecond_px * std::sin(2.0 * phase + 0.7);
  };
  std::mt19937 random(3);
  std::normal_distribution<double> normal;
  std::vector<NightFrame> frames;
  for (int i = 0; i < 48; ++i) {
    NightFrame f;
    f.time_s = kCadence_s * i;
    f.exposure_s = kExposure_s;
    f.stars = 300;
    f.fwhm_px = 2.4;
    constexpr int kSteps = 400;
    double mean = 0.0, square = 0.0;
    for (int k = 0; k < kSteps; ++k) {
      const double x = at(*f.time_s + kExposure_s * ((k + 0.5) / kSteps - 0.5));
      mean += x / kSteps;
      square += x * x / kSteps;
    }
    f.place = FieldPlace{mean + 0.05 * normal(random), 0.05 * normal(random), 0.0, 0.02, 1e-6};
    const double trail = std::sqrt(std::max(0.0, 12.0 * (square - mean * mean) + 0.05 * normal(random)));
    f.trail = MeasuredTrail{trail, 0.0, {0.0004, 0.0, 0.0004}, 0.0, trail, 0.02};
    frames.push_back(f);
  }
  const NightDiagnosis d = diagnose_night(frames, field);
  REQUIRE(d.periodic.size() >= 2);
  // The bound for 48 frames over 19 cycles and these trails is far below these limits.
  CHECK(d.periodic[0].period_s == Approx(kPeriod_s).epsilon(0.01));
  CHECK(d.periodic[0].amplitude_px == Approx(kFirst_px).epsilon(0.03));
  CHECK(d.periodic[1].period_s == Approx(kPeriod_s / 2.0).epsilon(0.01));
  CHECK(d.periodic[1].amplitude_px == Approx(kSecond_px).epsilon(0.05));
  // A swing of 156 s goes and comes back within an exposure; its trail is its spread, not the distance of its ends.
  for (const FrameFinding& f : d.frames) CHECK(f.cause != "unexplained");
  // 1/(1/125 s − 2/313 s) = 621 s is where the places alone would put it.
  for (const PeriodicTerm& p : d.periodic) CHECK(std::abs(p.period_s - 621.0) > 30.0);
}
