// Attitudes of all frames and the lens they share, from the stars alone: what the axis problem rests on.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "mount/noise_model.hpp"
#include "mount/star_terms.hpp"

namespace polewright::mount_detail {

/// 1σ by which the start lens may be wrong; the fit's own knowledge of the lens soon outweighs it.
struct LensPrior {
  double focal_relative = 0.01;
  double principal_point_of_width = 0.005;
  double k1 = 0.05, k2 = 0.05;
};

/// Diagonal of the prior's information on the lens parameters.
[[nodiscard]] Eigen::Matrix<double, kLensParameters, 1> lens_prior_information(const LensModel& start,
                                                                               const LensPrior& prior, int width_px);

struct AttitudeFitOptions {
  NoiseOptions noise;
  LensPrior lens_prior;
  int width_px = 0;
  int max_iterations = 20;
  int threads = 0;
};

struct AttitudeFit {
  PictureState state;
  NoiseModel noise;
  /// Of (φ of each frame, lens): left turns in camera axes, rad, then the lens parameters. Outliers out, robust
  /// estimation accounted for, shared errors marginalised.
  Eigen::MatrixXd covariance;
  std::vector<double> residual_rms_px;  ///< per axis, per frame
  std::vector<int> stars_used;
  bool converged = false;
};

[[nodiscard]] AttitudeFit fit_attitudes(const StarData& data, PictureState start, const AttitudeFitOptions& options);

}  // namespace polewright::mount_detail
