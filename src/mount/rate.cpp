#include "mount/rate.hpp"

#include <Eigen/Core>
#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace polewright::mount_detail {
namespace {

// Two neighbouring intervals whose rates differ by more than periodic errors do were tracked at different rates.
constexpr double kRateChange = 0.15;

struct Run {
  std::size_t first, last;
};

double rate_between(const AxisSetup& s, const AxisFit& fit, std::size_t a, std::size_t b) {
  const double interval = s.frames[b].time_s + fit.time_errors_s[b] - s.frames[a].time_s - fit.time_errors_s[a];
  return (fit.turns[b] - fit.turns[a]) / (s.sky_rate_rad_per_s * interval);
}

std::vector<Run> tracked_runs(const AxisSetup& s, const AxisFit& fit, bool& changed) {
  std::vector<Run> runs;
  for (std::size_t i = 1; i < s.frames.size(); ++i) {
    if (!s.frames[i].tracked_from_previous || s.frames[i].time_s <= s.frames[i - 1].time_s) continue;
    const bool joins = !runs.empty() && runs.back().last == i - 1;
    const double noise =
        4.0 * s.turn_noise_rad / (std::abs(s.sky_rate_rad_per_s) * (s.frames[i].time_s - s.frames[i - 1].time_s));
    const bool other_rate = !runs.empty() && std::abs(rate_between(s, fit, i - 1, i) -
                                                      rate_between(s, fit, runs.back().last - 1, runs.back().last)) >
                                                 std::max(kRateChange, noise);
    if (other_rate) {
      changed = true;
      runs.clear();
    }
    if (joins && !other_rate)
      runs.back().last = i;
    else
      runs.push_back({i - 1, i});
  }
  return runs;
}

}  // namespace

std::optional<Rate> mean_rate(const AxisSetup& s, const AxisFit& fit) {
  Rate rate;
  const auto runs = tracked_runs(s, fit, rate.changed);
  if (runs.empty()) return {};
  // Least squares of turn over time with one origin per run; weights equal, as the mount's unsteadiness outweighs the
  // stars' noise. gradient: of the ratio by (turns, time errors).
  const auto n = static_cast<Eigen::Index>(s.frames.size());
  const auto time = [&](std::size_t i) { return s.frames[i].time_s + fit.time_errors_s[i]; };
  double numerator = 0.0, denominator = 0.0;
  Eigen::VectorXd gradient = Eigen::VectorXd::Zero(2 * n);
  for (const Run& run : runs) {
    double mean_time = 0.0;
    for (std::size_t i = run.first; i <= run.last; ++i) mean_time += time(i);
    mean_time /= static_cast<double>(run.last - run.first + 1);
    for (std::size_t i = run.first; i <= run.last; ++i) {
      const double t = time(i) - mean_time;
      numerator += t * fit.turns[i];
      denominator += t * t;
      gradient[static_cast<Eigen::Index>(i)] = t;
    }
  }
  const double slope = numerator / denominator;
  gradient.head(n) /= denominator;
  gradient.tail(n) = -slope * gradient.head(n);
  rate.ratio = slope / s.sky_rate_rad_per_s;
  const double variance = fit.full_rank ? gradient.dot(fit.turn_time_cov * gradient) : 0.0;
  rate.sigma = std::sqrt(std::max(variance, 0.0)) / std::abs(s.sky_rate_rad_per_s);

  double sum2 = 0.0;
  int dof = -1;
  for (const Run& run : runs) {
    double mean = 0.0;
    for (std::size_t i = run.first; i <= run.last; ++i) mean += fit.turns[i] - slope * time(i);
    mean /= static_cast<double>(run.last - run.first + 1);
    for (std::size_t i = run.first; i <= run.last; ++i) {
      const double left = fit.turns[i] - slope * time(i) - mean;
      sum2 += left * left;
    }
    dof += static_cast<int>(run.last - run.first);
  }
  if (dof >= 2) rate.turn_scatter = Angle::rad(std::sqrt(sum2 / dof));
  return rate;
}

RateMatch match_rate(double ratio, double sigma) {
  struct Usual {
    RateMatch match;
    double ratio, within;  // within: what periodic error makes of it over a few minutes
  };
  // Solar and mean lunar day over the sidereal one; lunar from the Moon's mean motion, 14.492″/s.
  constexpr std::array<Usual, 6> usual{{{RateMatch::sidereal, 1.0, 0.02},
                                        {RateMatch::solar, 0.997269663, 0.0},
                                        {RateMatch::lunar, 0.963498788, 0.01},
                                        {RateMatch::half, 0.5, 0.02},
                                        {RateMatch::stopped, 0.0, 0.02},
                                        {RateMatch::reversed, -1.0, 0.03}}};
  const Usual* nearest = &usual[0];
  for (const Usual& u : usual)
    if (std::abs(ratio - u.ratio) < std::abs(ratio - nearest->ratio)) nearest = &u;
  const double sharp = std::clamp(3.0 * sigma, 0.0008, 0.03);
  if (std::abs(ratio - nearest->ratio) <= std::max(sharp, nearest->within)) return nearest->match;
  for (const Usual& u : usual)
    if (std::abs(ratio - u.ratio) <= u.within) return u.match;
  return RateMatch::other;
}

}  // namespace polewright::mount_detail
