#include "nights/periodic_trials.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <numbers>
#include <random>

namespace polewright::test {
namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;

double sinc(double x) {
  return std::abs(x) < 1e-9 ? 1.0 : std::sin(x) / x;
}

/// What is unknown in a trial, in this order.
struct Truth {
  double offset = 0.0, drift = 0.0, amplitude = 0.0, phase = 0.0, hz = 0.0;
  double shape = 0.0;  ///< square of the trail that images show at rest
};

double place_at(const PeriodicPlan& plan, const Truth& v, double t) {
  double out = v.offset + v.drift * t;
  for (const int k : {1, 2}) {
    const double size = k == 1 ? 1.0 : plan.second_harmonic;
    const double smeared = sinc(0.5 * kTurn * k * v.hz * plan.exposure_s);
    out += size * v.amplitude * smeared * std::sin(kTurn * k * v.hz * t + k * v.phase);
  }
  return out;
}

/// Square of the even trail with the same second moment as the way gone during the exposure.
double trail_square(const PeriodicPlan& plan, const Truth& v, double t) {
  constexpr int kSteps = 200;
  double sum = 0.0, square = 0.0;
  for (int i = 0; i < kSteps; ++i) {
    const double at = t + plan.exposure_s * ((i + 0.5) / kSteps - 0.5);
    double x = v.drift * at;
    for (const int k : {1, 2})
      x += (k == 1 ? 1.0 : plan.second_harmonic) * v.amplitude * std::sin(kTurn * k * v.hz * at + k * v.phase);
    sum += x / kSteps;
    square += x * x / kSteps;
  }
  return v.shape + 12.0 * (square - sum * sum);
}

Truth truth_of(const PeriodicPlan& plan, double phase) {
  return {0.0, plan.drift_px_per_s, plan.amplitude_px, phase, 1.0 / plan.period_s()};
}

/// Covariance of the free unknowns at one phase.
RelativeError bound_at(const PeriodicPlan& plan, double phase) {
  const Truth truth = truth_of(plan, phase);
  std::vector<double Truth::*> free{&Truth::offset, &Truth::amplitude, &Truth::phase, &Truth::hz};
  if (plan.drift_px_per_s != 0.0) free.push_back(&Truth::drift);
  if (plan.trail_square_noise_px2) free.push_back(&Truth::shape);
  const auto unknowns = static_cast<Eigen::Index>(free.size());
  Eigen::MatrixXd information = Eigen::MatrixXd::Zero(unknowns, unknowns);
  for (int i = 0; i < plan.frames; ++i) {
    const double t = plan.interval_s * i;
    Eigen::VectorXd by_place(unknowns), by_trail(unknowns);
    for (Eigen::Index k = 0; k < unknowns; ++k) {
      const auto member = free[static_cast<std::size_t>(k)];
      const double step = std::max(1e-5 * std::abs(truth.*member), 1e-9);
      Truth above = truth, below = truth;
      above.*member += step;
      below.*member -= step;
      by_place[k] = (place_at(plan, above, t) - place_at(plan, below, t)) / (2.0 * step) / plan.noise_px;
      if (plan.trail_square_noise_px2)
        by_trail[k] =
            (trail_square(plan, above, t) - trail_square(plan, below, t)) / (2.0 * step) / *plan.trail_square_noise_px2;
    }
    information += by_place * by_place.transpose();
    if (plan.trail_square_noise_px2) information += by_trail * by_trail.transpose();
  }
  // Unknowns of very different size: scaled to one before the inversion.
  const Eigen::VectorXd scale = information.diagonal().cwiseSqrt().cwiseInverse();
  const Eigen::MatrixXd covariance =
      scale.asDiagonal() * (scale.asDiagonal() * information * scale.asDiagonal()).inverse() * scale.asDiagonal();
  return {std::sqrt(covariance(3, 3)) / truth.hz, std::sqrt(covariance(1, 1)) / truth.amplitude};
}

NightField tracking_along_x() {
  NightField field;
  field.width_px = 6000;
  field.height_px = 4000;
  field.focal_px = 34615.0;  // 135 mm, 3.9 µm
  field.pole = Vec<Camera>{0.0, 1.0, 0.0};
  return field;
}

/// A trail's direction and length from the noisy square of it.
MeasuredTrail measured_trail(double square, double noise, std::mt19937_64& engine) {
  std::normal_distribution<double> normal;
  const double a = square + noise * normal(engine), b = noise * normal(engine);
  const double length = std::sqrt(std::hypot(a, b)), half = 0.5 * std::atan2(b, a);
  const double sigma = noise / (2.0 * std::max(length, std::sqrt(noise)));
  return {length * std::cos(half), length * std::sin(half), {sigma * sigma, 0.0, sigma * sigma}, 0.0, length, sigma};
}

}  // namespace

RelativeError published_bound(const PeriodicPlan& plan) {
  const double n = plan.frames, ratio = plan.noise_px / plan.amplitude_px;
  return {std::sqrt(6.0 / n) * ratio / (std::numbers::pi * plan.cycles), std::sqrt(2.0 / n) * ratio};
}

RelativeError numeric_bound(const PeriodicPlan& plan) {
  constexpr int kPhases = 24;
  RelativeError square;
  for (int i = 0; i < kPhases; ++i) {
    const RelativeError e = bound_at(plan, kTurn * i / kPhases);
    square.period += e.period * e.period / kPhases;
    square.amplitude += e.amplitude * e.amplitude / kPhases;
  }
  return {std::sqrt(square.period), std::sqrt(square.amplitude)};
}

PeriodicScore run_trials(const PeriodicPlan& plan, int trials, std::uint64_t seed) {
  const NightField field = tracking_along_x();
  PeriodicScore score;
  score.trials = trials;
  double period2 = 0.0, amplitude2 = 0.0, period_pull2 = 0.0, amplitude_pull2 = 0.0;
  for (int k = 0; k < trials; ++k) {
    std::mt19937_64 engine(seed + static_cast<std::uint64_t>(k));
    std::normal_distribution<double> normal;
    const Truth truth = truth_of(plan, std::uniform_real_distribution<double>(0.0, kTurn)(engine));
    std::vector<NightFrame> frames;
    for (int i = 0; i < plan.frames; ++i) {
      NightFrame f;
      f.time_s = plan.interval_s * i;
      f.exposure_s = plan.exposure_s;
      f.stars = 300;
      f.fwhm_px = 2.4;
      f.place = FieldPlace{place_at(plan, truth, *f.time_s) + plan.noise_px * normal(engine),
                           plan.noise_px * normal(engine), 1e-6 * normal(engine), 0.02, 1e-6};
      if (plan.trail_square_noise_px2)
        f.trail = measured_trail(trail_square(plan, truth, *f.time_s), *plan.trail_square_noise_px2, engine);
      frames.push_back(f);
    }
    const NightDiagnosis d = diagnose_night(frames, field);
    if (d.periodic.empty()) continue;
    const PeriodicTerm& p = d.periodic.front();
    const double period = p.period_s / plan.period_s() - 1.0, amplitude = p.amplitude_px / plan.amplitude_px - 1.0;
    ++score.found;
    score.period_within_2 += std::abs(period) < 0.02 ? 1 : 0;
    score.amplitude_within_8 += std::abs(amplitude) < 0.08 ? 1 : 0;
    score.both += std::abs(period) < 0.02 && std::abs(amplitude) < 0.08 ? 1 : 0;
    period2 += period * period;
    amplitude2 += amplitude * amplitude;
    period_pull2 += std::pow(period * plan.period_s() / p.period_sigma_s, 2);
    amplitude_pull2 += std::pow(amplitude * plan.amplitude_px / p.amplitude_sigma_px, 2);
  }
  const double n = std::max(1, score.found);
  score.rms = {std::sqrt(period2 / n), std::sqrt(amplitude2 / n)};
  score.period_pull = std::sqrt(period_pull2 / n);
  score.amplitude_pull = std::sqrt(amplitude_pull2 / n);
  return score;
}

}  // namespace polewright::test
