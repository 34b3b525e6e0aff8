// The periodic error against the bound that no estimate can pass, and within 2 % and 8 % where the bound leaves room.
// The full table: RESULTS.md, check_periodic.
#include <catch2/catch.hpp>

#include "nights/periodic_trials.hpp"

using namespace polewright;
using test::PeriodicPlan;

namespace {

constexpr int kTrials = 60;

test::PeriodicScore scored(const PeriodicPlan& plan) {
  const test::PeriodicScore s = test::run_trials(plan, kTrials, 77000);
  CHECK(s.found == s.trials);
  return s;
}

}  // namespace

TEST_CASE("periodic error: the numeric bound is the published one where that holds") {
  // Montgomery and O'Donoghue 1999 leave out the offset and the averaging over the exposure; with many frames, many
  // cycles and a short exposure both vanish, and 1 % is what 200 frames leave of them.
  PeriodicPlan plan;
  plan.frames = 200;
  plan.cycles = 20.0;
  plan.exposure_s = 1.0;
  const test::RelativeError published = test::published_bound(plan), numeric = test::numeric_bound(plan);
  CHECK(numeric.period == Approx(published.period).epsilon(0.01));
  CHECK(numeric.amplitude == Approx(published.amplitude).epsilon(0.01));
}

TEST_CASE("periodic error by places alone: no worse than the published bound lets") {
  struct Case {
    int frames;
    double cycles;
  };
  for (const Case c : {Case{24, 3}, Case{24, 5}, Case{40, 3}, Case{60, 8}, Case{120, 16}}) {
    PeriodicPlan plan;
    plan.frames = c.frames;
    plan.cycles = c.cycles;
    const test::PeriodicScore s = scored(plan);
    const test::RelativeError bound = test::published_bound(plan);
    INFO(c.frames << " frames, " << c.cycles << " cycles");
    // 1.1 is the requirement; an rms of 60 trials scatters by 1/√120 = 9 %, of which two are allowed; the averaging
    // over 60 s of exposure, which the published form leaves out, costs the amplitude up to 7 % more.
    CHECK(s.rms.period < 1.1 * 1.18 * bound.period);
    CHECK(s.rms.amplitude < 1.1 * 1.18 * 1.07 * bound.amplitude);
    // Stated sigmas are those errors: a pull of 1 with the same scatter and the same allowance.
    CHECK(s.period_pull < 1.3);
    CHECK(s.amplitude_pull < 1.3);
  }
}

TEST_CASE("periodic error with trails: at the joint bound, and within 2 % and 8 % at three cycles and 24 frames") {
  PeriodicPlan plan;
  plan.amplitude_px = 1.2;
  plan.noise_px = 0.4;  // amplitude three times the noise
  plan.trail_square_noise_px2 = 0.06;
  const test::RelativeError bound = test::numeric_bound(plan);
  REQUIRE(2.0 * bound.period < 0.02);
  REQUIRE(2.0 * bound.amplitude < 0.08);
  const test::PeriodicScore s = scored(plan);
  CHECK(s.rms.period < 1.1 * 1.18 * bound.period);
  CHECK(s.rms.amplitude < 1.1 * 1.18 * bound.amplitude);
  CHECK(s.both >= 0.95 * s.trials);
}

TEST_CASE("periodic error within 2 % and 8 % wherever the bound leaves room for it") {
  for (const double ratio : {3.0, 5.0}) {
    PeriodicPlan plan;
    plan.frames = ratio > 4.0 ? 60 : 160;
    plan.noise_px = plan.amplitude_px / ratio;
    plan.cycles = 6.0;
    const test::RelativeError bound = test::published_bound(plan);
    REQUIRE(2.0 * bound.period < 0.02);
    REQUIRE(2.0 * bound.amplitude < 0.08);
    // Two sigmas inside the limit leave 5 % outside it, and those of 60 trials scatter by 2.8 %.
    CHECK(scored(plan).both >= 0.89 * kTrials);
  }
}

TEST_CASE("periodic error: a strong second harmonic and a drift beside it spoil neither period nor amplitude") {
  PeriodicPlan plan;
  plan.frames = 80;
  plan.cycles = 6.0;
  plan.amplitude_px = 1.0;
  plan.noise_px = 0.1;
  plan.second_harmonic = 0.3;
  plan.drift_px_per_s = 0.002;
  const test::PeriodicScore s = scored(plan);
  CHECK(s.both == s.trials);
}
