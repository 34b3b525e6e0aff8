#include "session/night_tilt.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <vector>

namespace polewright::session {
namespace {

/// Terms 1, x, y, x², xy, y² in units of the half height, and the squared width they should give.
struct Samples {
  Eigen::MatrixXd terms;
  Eigen::VectorXd square;
};

Samples samples_of(const StarList& list) {
  std::vector<const Star*> good;
  for (const Star& s : list.stars)
    if (s.flags.usable() && !s.flags.saturated && !s.flags.blended && !s.flags.fit_failed && s.snr >= 20.0 &&
        s.fwhm_px > 0.0)
      good.push_back(&s);
  const double unit = 0.5 * list.height, cx = 0.5 * (list.width - 1), cy = 0.5 * (list.height - 1);
  const auto n = static_cast<Eigen::Index>(good.size());
  Samples out{Eigen::MatrixXd(n, 6), Eigen::VectorXd(n)};
  for (Eigen::Index i = 0; i < n; ++i) {
    const Star& s = *good[static_cast<std::size_t>(i)];
    const double x = (s.position.x - cx) / unit, y = (s.position.y - cy) / unit;
    out.terms.row(i) << 1.0, x, y, x * x, x * y, y * y;
    out.square[i] = s.fwhm_px * s.fwhm_px;
  }
  return out;
}

struct Surface {
  Eigen::VectorXd value, sigma;
};

/// Least squares with Cauchy weights: blends and poor fits have the widest tails.
Surface fit(const Samples& s) {
  Eigen::VectorXd weight = Eigen::VectorXd::Ones(s.square.size());
  Surface out;
  for (int round = 0; round < 4; ++round) {
    const Eigen::MatrixXd weighted = weight.asDiagonal() * s.terms;
    const Eigen::MatrixXd inverse = (s.terms.transpose() * weighted).completeOrthogonalDecomposition().pseudoInverse();
    out.value = inverse * (weighted.transpose() * s.square);
    const Eigen::VectorXd off = (s.square - s.terms * out.value).cwiseAbs();
    const double variance = off.cwiseAbs2().dot(weight) / std::max(1.0, weight.sum() - 6.0);
    out.sigma = (variance * inverse.diagonal().cwiseMax(0.0)).cwiseSqrt();
    std::vector<double> sorted(off.begin(), off.end());
    std::sort(sorted.begin(), sorted.end());
    const double scale = std::max(1e-9, 2.5 * 1.4826 * sorted[sorted.size() / 2]);
    weight = (1.0 + (off / scale).array().square()).inverse().matrix();
  }
  return out;
}

}  // namespace

TiltMeasure tilt_of(const StarList& list) {
  const Samples samples = samples_of(list);
  if (samples.square.size() < 30) return {};
  const Surface s = fit(samples);
  // Along the direction of steepest change: a valley (focus in the middle, blur at both edges), or a slope.
  const double valley = std::hypot(s.value[3] - s.value[5], s.value[4]), slope = std::hypot(s.value[1], s.value[2]);
  const bool sloping = 2.0 * slope > valley;
  const double best = std::max(1.0, s.value[0] - (sloping ? slope : 0.0)), worst = best + std::max(valley, 2.0 * slope);
  const double sigma = sloping ? 2.0 * std::hypot(s.sigma[1], s.sigma[2]) : std::hypot(s.sigma[3], s.sigma[5]);
  return {std::sqrt(worst) - std::sqrt(best), sigma / (2.0 * std::sqrt(worst))};
}

}  // namespace polewright::session
