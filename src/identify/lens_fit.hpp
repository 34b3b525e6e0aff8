// Least-squares fit of attitude and lens to pairs of star directions and places.
#pragma once

#include <vector>

#include "identify/pose.hpp"

namespace polewright {

struct FitPair {
  Vec<Icrs> direction;
  PixelPoint place;
  double sigma_px = 1.0;  ///< per axis
};

/// Which parts of the lens move; the attitude always does.
struct FitFreedom {
  bool focal = true, principal_point = false, k1 = false, k2 = false;
  [[nodiscard]] int count() const { return 3 + focal + 2 * principal_point + k1 + k2; }
};

struct FitOptions {
  FitFreedom freedom;
  double half_diagonal_px = 1.0;
  /// Expected distortion at the frame's corner, 1σ, as a share of the radius; keeps k1 and k2 from running away while
  /// the pairs cover only part of the frame.
  double distortion_prior = 0.05;
  double principal_point_prior = 0.02;  ///< 1σ distance from the start, in half diagonals
  /// Residuals beyond this many sigmas lose weight (Cauchy).
  double robust_sigmas = 3.0;
  int max_steps = 12;
};

struct FitSummary {
  double cost = 0.0;          ///< half the robust sum of squares in sigmas, with the priors
  double typical_sigmas = 0;  ///< robust scatter of a coordinate's residual in sigmas (median based)
};

/// Moves the pose to the minimum. Pairs whose direction the lens cannot show are ignored. Levenberg–Marquardt with
/// analytic derivatives.
FitSummary fit_pose(Pose& pose, const std::vector<FitPair>& pairs, const FitOptions& options);

/// Robust scatter of the residuals in sigmas per axis (1 when the sigmas are right), from their median.
[[nodiscard]] double robust_scatter(const Pose& pose, const std::vector<FitPair>& pairs);

}  // namespace polewright
