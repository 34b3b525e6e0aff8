// Elongation of star images over the frame: squared trails of motion and of the optics.
#pragma once

#include <Eigen/Core>
#include <array>
#include <utility>
#include <vector>

#include "polewright/stars.hpp"

namespace polewright {

/// One star's squared trail at a place in half-diagonals from the frame's centre, with its covariance, and the trail's.
struct ElongationSample {
  double u = 0.0, v = 0.0;
  Eigen::Vector2d q, trail;                      ///< px², px
  Eigen::Matrix2d covariance, trail_covariance;  ///< px⁴, px²
};

/// Parameters in the order below. Motion: trail t = (x, y) at the centre, px, and twist per half-diagonal, px; q = t².
/// Aberration in px² at the corner: tilt (two, linear in the field, which a displaced lens shows too), radial growing
/// as r², r⁴ and r⁶. Response: squares add exactly for Gaussian images only; the part of the motion's square that the
/// optics' blur adds or takes, growing as r².
enum Elongation {
  kMotionX,
  kMotionY,
  kTwist,
  kTiltA,
  kTiltB,
  kRadial2,
  kRadial4,
  kRadial6,
  kResponse,
  kElongationParameters
};
using ElongationVector = Eigen::Matrix<double, kElongationParameters, 1>;
using ElongationMatrix = Eigen::Matrix<double, kElongationParameters, kElongationParameters>;

/// `trail`: as above. `square`: the first two parameters are the common square itself, px², and there is no twist: what
/// there is of motion when it is too small for its root to be taken.
enum class MotionForm { trail, square };

/// Which parameters are free, and the 1σ of their priors around zero, 0 for none.
struct ElongationChoice {
  MotionForm form = MotionForm::trail;
  std::array<bool, kElongationParameters> free{};
  ElongationVector prior_sigma = ElongationVector::Zero();
};

struct ElongationFit {
  ElongationVector parameters = ElongationVector::Zero();
  double chi2 = 0.0;  ///< robust
};

/// The problem of one frame: samples, lens bend and the star-to-star scatter of shapes that no model explains.
class ElongationProblem {
 public:
  /// `bend` is 1/focal² in half-diagonals. Trails from `long_px` on have normal errors themselves, shorter ones in
  /// their squares.
  ElongationProblem(std::vector<ElongationSample> samples, double bend, double long_px)
      : samples_(std::move(samples)), bend_(bend), long_px_(long_px) {}

  [[nodiscard]] static Eigen::Vector2d aberration(const ElongationVector& p, double u, double v);
  [[nodiscard]] Eigen::Vector2d trail(const ElongationVector& p, double u, double v) const;
  [[nodiscard]] ElongationFit fit(const ElongationVector& start, const ElongationChoice& choice) const;
  /// Covariance of the free parameters at p, zero for the others: noise, and what the model leaves of the frame's
  /// shapes. Residuals that agree within parts of the frame show that; the parts' scores then scatter more than noise
  /// makes them.
  [[nodiscard]] ElongationMatrix covariance(const ElongationVector& p, const ElongationChoice& choice) const;
  /// Sets the scatter so that the given model's misfit is what noise and scatter together would give.
  void absorb_scatter(const ElongationVector& p);
  /// The same problem on at most `count` of its samples, spread over the list.
  [[nodiscard]] ElongationProblem thinned(std::size_t count) const;
  [[nodiscard]] std::size_t size() const { return samples_.size(); }
  [[nodiscard]] const std::vector<ElongationSample>& samples() const { return samples_; }

 private:
  struct Whitened;
  struct Normal;
  [[nodiscard]] Whitened whitened(const ElongationSample& s, const ElongationVector& p, MotionForm form) const;
  [[nodiscard]] Normal normal_at(const ElongationVector& p, const ElongationChoice& choice) const;

  std::vector<ElongationSample> samples_;
  double bend_, long_px_;
  double scatter_ = 0.0;  ///< px⁴, added to both variances
};

}  // namespace polewright
