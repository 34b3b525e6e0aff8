#include <algorithm>
#include <cmath>

#include "diagnose/search.hpp"

namespace polewright::diagnose {
namespace {

/// Frequencies that the sequence can show: from one and a half cycles in its length to just under two frames a cycle.
struct Band {
  double low_hz = 0.0, high_hz = 0.0;
  Band(const Series& s, const NightOptions& o) {
    if (s.size() < 6 || s.span_s() <= 0.0) return;
    low_hz = std::max(1.0 / o.longest_period_s, 1.5 / s.span_s());
    high_hz = std::min(1.0 / o.least_period_s, 1.0 / (2.2 * s.cadence_s()));
  }
  [[nodiscard]] bool empty() const { return !(high_hz > low_hz); }
};

struct Strength {
  double gain = 0.0;
  Eigen::Vector3d direction{1.0, 0.0, 0.0};
};

Strength strength_at(double hz, const Series& s, const Projector& projector, const Eigen::MatrixXd& residual) {
  const Eigen::MatrixXd wave = columns({Term::wave, 1.0 / hz, 0}, s);
  Strength out;
  if (s.direction_known) {
    out.gain = projector.gain(residual, wave, true);
    return out;
  }
  // One worm moves the field along one direction, in phase: the best rank-one part of the coefficients.
  const Eigen::MatrixXd b = projector.projected(residual, wave);
  const Eigen::JacobiSVD<Eigen::MatrixXd> svd(b, Eigen::ComputeFullV);
  if (svd.singularValues().size() == 0) return out;
  out.gain = std::pow(svd.singularValues()[0], 2);
  out.direction = svd.matrixV().col(0);
  return out;
}

/// Within one resolution element of a wave that the account has: two waves there tear each other apart, and what is
/// left there is that wave's own inaccuracy.
bool taken(double hz, const Series& s, const Account& account) {
  return std::any_of(account.components.begin(), account.components.end(), [&](const Component& c) {
    return c.term == Term::wave && std::abs(hz - 1.0 / c.scale_s) * s.span_s() < 1.0;
  });
}

}  // namespace

Wave strongest_wave(const Series& s, const Account& account, const NightOptions& options) {
  Wave best;
  const Band band(s, options);
  if (band.empty()) return best;
  const Projector projector(s, account.components);
  // Four trials per resolution element lose at most 3 % of a peak, which the refinement below recovers.
  const double step = 0.25 / s.span_s();
  double best_hz = 0.0;
  for (double hz = band.low_hz; hz <= band.high_hz; hz += step) {
    if (taken(hz, s, account)) continue;
    const Strength found = strength_at(hz, s, projector, account.residual);
    if (found.gain > best.gain) {
      best.gain = found.gain;
      best_hz = hz;
    }
  }
  if (best_hz == 0.0) return best;
  double low = std::max(band.low_hz, best_hz - step), high = std::min(band.high_hz, best_hz + step);
  for (int i = 0; i < 25; ++i) {  // golden section to 1e-5 of the step, far inside the uncertainty
    const double a = high - 0.618034 * (high - low), b = low + 0.618034 * (high - low);
    if (strength_at(a, s, projector, account.residual).gain > strength_at(b, s, projector, account.residual).gain)
      high = b;
    else
      low = a;
  }
  const double hz = 0.5 * (low + high);
  const Strength found = strength_at(hz, s, projector, account.residual);
  return {1.0 / hz, found.gain, found.direction};
}

double false_alarm(const Series& s, const Account& account, std::size_t wave, const NightOptions& options) {
  std::vector<Component> others = account.components;
  others.erase(others.begin() + static_cast<std::ptrdiff_t>(wave));
  const double without = fit(s, others).residual.col(0).squaredNorm();
  const double with = std::max(account.residual.col(0).squaredNorm(), 1e-300);
  const double freedom = std::max(1.0, static_cast<double>(s.size() - account.coefficients.rows()));
  const double single = std::pow(1.0 + std::max(0.0, without - with) / with, -0.5 * freedom);
  const Band band(s, options);
  const double trials = std::max(1.0, s.span_s() * (band.high_hz - band.low_hz));
  return single < 1e-9 ? std::min(1.0, single * trials) : 1.0 - std::pow(1.0 - single, trials);
}

}  // namespace polewright::diagnose
