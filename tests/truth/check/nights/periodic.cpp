// How near the periodic error comes to the bound, and how often within 2 % and 8 %: check_periodic [TRIALS [SEED]].
#include <fmt/format.h>

#include <cstdlib>

#include "nights/periodic_trials.hpp"

using namespace polewright;

namespace {

void row(const test::PeriodicPlan& plan, int trials, std::uint64_t seed) {
  const test::PeriodicScore s = test::run_trials(plan, trials, seed);
  const test::RelativeError published = test::published_bound(plan), bound = test::numeric_bound(plan);
  fmt::print(
      "| {} | {:g} | {:.0f} | {:g} | {:g} | {} | {} | {:.2f} / {:.2f} | {:.2f} / {:.2f} | {:.2f} / {:.2f} | {:.2f} / "
      "{:.2f} | {:.1f} % | {:.1f} % | {:.1f} % |\n",
      plan.frames, plan.cycles, plan.period_s(), plan.amplitude_px, plan.amplitude_px / plan.noise_px,
      plan.trail_square_noise_px2 ? "yes" : "no", s.found, 100.0 * published.period, 100.0 * published.amplitude,
      100.0 * bound.period, 100.0 * bound.amplitude, s.rms.period / bound.period, s.rms.amplitude / bound.amplitude,
      s.period_pull, s.amplitude_pull, 100.0 * s.period_within_2 / s.trials, 100.0 * s.amplitude_within_8 / s.trials,
      100.0 * s.both / s.trials);
  std::fflush(stdout);
}

}  // namespace

int main(int argc, char** argv) {
  const int trials = argc > 1 ? std::atoi(argv[1]) : 200;
  const std::uint64_t seed = argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 1;
  fmt::print(
      "| frames | cycles | period s | amplitude px | over noise | trails | found | published bound %: period / "
      "amplitude "
      "| Fisher bound % | rms over bound | rms pull | period in 2 % | amplitude in 8 % | both |\n"
      "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n");
  for (const int frames : {24, 40, 60, 120, 200})
    for (const double cycles : {3.0, 5.0, 8.0, 16.0}) {
      test::PeriodicPlan plan;
      plan.frames = frames;
      plan.cycles = cycles;
      if (plan.period_s() < 2.5 * plan.interval_s || plan.period_s() > 3500.0) continue;
      row(plan, trials, seed);
    }
  for (const double drift : {0.0, 0.01})  // places alone, drift free in fit and bound
    for (const int frames : {24, 60}) {
      test::PeriodicPlan plan;
      plan.frames = frames;
      plan.drift_px_per_s = drift;
      if (drift > 0.0) row(plan, trials, seed);
    }
  for (const double ratio : {4.0, 5.0, 6.0, 8.0})
    for (const int frames : {24, 40, 60, 80}) {
      test::PeriodicPlan plan;
      plan.frames = frames;
      plan.noise_px = plan.amplitude_px / ratio;
      row(plan, trials, seed);
    }
  for (const double amplitude : {0.3, 0.5, 0.7, 1.0, 2.0, 5.0})
    for (const int frames : {24, 40, 60}) {
      test::PeriodicPlan plan;
      plan.frames = frames;
      plan.amplitude_px = amplitude;
      plan.noise_px = amplitude / 3.0;
      plan.trail_square_noise_px2 = 0.06;
      row(plan, trials, seed);
    }
}
