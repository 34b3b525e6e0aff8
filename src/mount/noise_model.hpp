// How much each star measurement counts: scatter against stated sigmas, errors shared by frames, outliers.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <vector>

#include "mount/star_terms.hpp"

namespace polewright::mount_detail {

struct NoiseOptions {
  double robust_scale = 2.5;
  std::optional<double> common_error_px;  ///< held at this value when given
};

/// Weights of all measurements. Order everywhere: frames, then stars as in StarData.
struct NoiseModel {
  double scale = 1.0;            ///< scatter over stated sigma
  double common_error_px = 0.0;  ///< 1σ per axis of the error shared by observations of one star on the same pixels
  std::vector<std::vector<double>> deviation2;  ///< squared whitened residual per star, 2 expected
  std::vector<std::vector<double>> weight;      ///< Cauchy weight per star
  std::vector<double> common_weight;            ///< weight of the prior on each shared error (a stale place breaks it)
  /// Variance of the robust estimate over that of least squares without outliers, from the residuals themselves.
  double robust_variance_factor = 1.0;
};

using Terms = std::vector<std::vector<StarTerm>>;

/// First guess: unit weights.
[[nodiscard]] NoiseModel unit_noise(const StarData& data);
/// Re-estimates scale, shared error and weights from the residuals. `free_parameters`: spent on attitudes and lens.
/// `share_of_old`: of the variances kept from before, so that they settle instead of swinging with the weights.
void update_noise(NoiseModel& noise, const StarData& data, const Terms& terms, const NoiseOptions& options,
                  int free_parameters, double share_of_old);

/// Sums over the observations that share one error.
struct CommonSums {
  std::vector<Eigen::Matrix2d> information;  ///< Σ weighted information
  std::vector<Eigen::Vector2d> moment;       ///< Σ weighted information · residual
  std::vector<Eigen::Vector2d> mean;         ///< plain mean residual
  std::vector<int> count;
};
/// With `final_weights` outliers are out and all others count in full (for the covariance).
[[nodiscard]] CommonSums sum_commons(const NoiseModel& noise, const StarData& data, const Terms& terms,
                                     bool final_weights);
/// Weight factor of one observation on its stated information.
[[nodiscard]] double observation_weight(const NoiseModel& noise, std::size_t frame, std::size_t star,
                                        bool final_weights);
/// Covariance of one shared error given its observations; zero when no shared error is assumed.
[[nodiscard]] Eigen::Matrix2d common_covariance(const NoiseModel& noise, const CommonSums& sums, std::size_t common);

}  // namespace polewright::mount_detail
