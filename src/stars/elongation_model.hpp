// Elongation of star images over the frame: squared trails of motion and of the optics.
#pragma once

#include <Eigen/Core>
#include <array>
#include <utility>
#include <vector>

#include "polewright/stars.hpp"

namespace polewright {

/// One star's squared trail at a place in half-diagonals from the frame's centre, with its covariance.
struct ElongationSample {
  double u = 0.0, v = 0.0;
  Eigen::Vector2d q;           ///< px²
  Eigen::Matrix2d covariance;  ///< px⁴
};

/// Parameters in the order below; a model is a choice of which are free.
/// Motion: trail t = (x, y) at the centre, px, and twist per half-diagonal, px; q = t².
/// Aberration in px² at the corner: tilt (two, linear in the field), radial growing as r² and as r⁴.
enum Elongation { kMotionX, kMotionY, kTwist, kTiltA, kTiltB, kRadial2, kRadial4, kElongationParameters };
using ElongationVector = Eigen::Matrix<double, kElongationParameters, 1>;
using ElongationMatrix = Eigen::Matrix<double, kElongationParameters, kElongationParameters>;

struct ElongationFit {
  ElongationVector parameters = ElongationVector::Zero();
  ElongationMatrix information = ElongationMatrix::Zero();  ///< of the free parameters; zero rows for the others
  double chi2 = 0.0;                                        ///< robust
};

/// The problem of one frame: samples, lens bend and the star-to-star scatter of shapes that no model explains.
class ElongationProblem {
 public:
  /// `bend` is 1/focal² in half-diagonals.
  ElongationProblem(std::vector<ElongationSample> samples, double bend) : samples_(std::move(samples)), bend_(bend) {}

  [[nodiscard]] static Eigen::Vector2d aberration(const ElongationVector& p, double u, double v);
  [[nodiscard]] Eigen::Vector2d trail(const ElongationVector& p, double u, double v) const;
  /// From `start`, over the parameters marked free. Priors are the 1σ of parameters around zero, 0 for none.
  [[nodiscard]] ElongationFit fit(const ElongationVector& start, const std::array<bool, kElongationParameters>& free,
                                  const ElongationVector& prior_sigma) const;
  /// Information on all parameters at p, priors included.
  [[nodiscard]] ElongationMatrix information_at(const ElongationVector& p, const ElongationVector& prior_sigma) const;
  /// The elongation common to all stars, px², with optics free beside it, and its 1σ per component: what there is of
  /// motion when it is too small for its root to be taken.
  [[nodiscard]] Eigen::Vector2d common(const ElongationVector& prior_sigma, double& sigma) const;
  /// Sets the scatter so that the given model's misfit is what noise and scatter together would give.
  void absorb_scatter(const ElongationVector& p);
  /// The same problem on at most `count` of its samples, spread over the list.
  [[nodiscard]] ElongationProblem thinned(std::size_t count) const;
  [[nodiscard]] std::size_t size() const { return samples_.size(); }
  [[nodiscard]] const std::vector<ElongationSample>& samples() const { return samples_; }

 private:
  struct Normal;
  [[nodiscard]] Normal normal_at(const ElongationVector& p, const ElongationVector& prior_weight) const;

  std::vector<ElongationSample> samples_;
  double bend_;
  double scatter_ = 0.0;  ///< px⁴, added to both variances
};

}  // namespace polewright
