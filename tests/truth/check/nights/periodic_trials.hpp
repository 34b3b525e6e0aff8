// Many short series with one known worm each, to hold the estimate against the bound that no estimate can pass.
#pragma once

#include "polewright/diagnose.hpp"

namespace polewright::test {

struct PeriodicPlan {
  int frames = 24;
  double cycles = 3.0;        ///< of the worm between the first and the last frame
  double amplitude_px = 0.3;  ///< of the place, at an instant
  double noise_px = 0.1;      ///< 1σ of a frame's place, per axis
  double drift_px_per_s = 0.0;
  double second_harmonic = 0.0;  ///< amplitude relative to the first
  /// 1σ of the square of a trail's length, px²; nothing: frames carry no trails.
  std::optional<double> trail_square_noise_px2;
  double exposure_s = 60.0, interval_s = 65.0;

  [[nodiscard]] double period_s() const { return interval_s * (frames - 1) / cycles; }
};

/// 1σ, relative to the true value.
struct RelativeError {
  double period = 0.0, amplitude = 0.0;
};

/// Montgomery and O'Donoghue 1999, Delta Scuti Star Newsletter 13, 28: σ_A = σ √(2/N), σ_f = √6 σ / (π T √N A), for
/// even data and a sine that nothing else is fitted beside.
[[nodiscard]] RelativeError published_bound(const PeriodicPlan& plan);

/// Cramér–Rao bound by the Fisher information, averaged over the phase: offset (and drift, when the plan has one) free
/// in the same fit, each place the average over its exposure; with trails, their squares as well and the star images'
/// own shape free.
[[nodiscard]] RelativeError numeric_bound(const PeriodicPlan& plan);

struct PeriodicScore {
  int trials = 0, found = 0;
  int period_within_2 = 0, amplitude_within_8 = 0, both = 0;
  RelativeError rms;                               ///< of those found, against the truth
  double period_pull = 0.0, amplitude_pull = 0.0;  ///< rms of error over stated sigma
};
[[nodiscard]] PeriodicScore run_trials(const PeriodicPlan& plan, int trials, std::uint64_t seed);

}  // namespace polewright::test
