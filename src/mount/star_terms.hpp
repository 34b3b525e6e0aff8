// Residual and derivative of every star measurement about the present attitudes and lens.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "mount/star_data.hpp"
#include "polewright/lens.hpp"

namespace polewright::mount_detail {

/// Parameters a star sees: small turn of its frame (camera axes, rad), then the shared lens.
inline constexpr int kLensParameters = 5;  ///< focal_px, principal point x and y, k1, k2
inline constexpr int kStarParameters = 3 + kLensParameters;

struct StarTerm {
  Eigen::Vector2d residual_px = Eigen::Vector2d::Zero();  ///< measured − predicted
  Eigen::Matrix<double, 2, kStarParameters> jacobian;     ///< of the prediction
  bool valid = false;                                     ///< inside the lens's domain
};

/// State the terms are computed about. camera_from_enu(new) = exp(φ) · camera_from_enu.
struct PictureState {
  std::vector<Eigen::Matrix3d> camera_from_enu;
  LensModel lens;
  /// Turn of the star field in camera axes during each exposure, rad; zero where unknown or too small to matter.
  std::vector<Eigen::Vector3d> field_turn;
};

/// Predicted place: at mid-exposure, or averaged over the exposure when the field turned (three-point Gauss–Legendre:
/// error under 1e-6 of the trail). Nothing outside the lens's domain.
[[nodiscard]] std::optional<Eigen::Vector2d> predict_px(const LensModel& lens, const Eigen::Vector3d& direction,
                                                        const Eigen::Vector3d& field_turn);

/// One measurement. The derivative neglects the averaging, whose share of it is below 1e-3.
[[nodiscard]] StarTerm star_term(const PictureState& state, std::size_t frame, const Observation& star);

}  // namespace polewright::mount_detail
