#include "mount/star_terms.hpp"

#include <cmath>

#include "mount/linear.hpp"

namespace polewright::mount_detail {
namespace {

std::optional<Eigen::Vector2d> project_px(const LensModel& lens, const Eigen::Vector3d& direction) {
  const auto p = lens.project(from_eigen<Camera>(direction));
  if (!p) return {};
  return Eigen::Vector2d(p->x, p->y);
}

/// Columns for focal length, principal point, k1 and k2, from the place an undistorted lens would give.
bool lens_columns(const LensModel& lens, const Eigen::Vector3d& direction, StarTerm& term) {
  LensModel ideal = lens;
  ideal.k1 = ideal.k2 = 0.0;
  const auto place = project_px(ideal, direction);
  if (!place) return false;
  const Eigen::Vector2d u = (*place - Eigen::Vector2d(lens.principal_point.x, lens.principal_point.y)) / lens.focal_px;
  const double r2 = u.squaredNorm();
  term.jacobian.col(3) = u * (1.0 + lens.k1 * r2 + lens.k2 * r2 * r2);
  term.jacobian.middleCols<2>(4).setIdentity();
  term.jacobian.col(6) = lens.focal_px * r2 * u;
  term.jacobian.col(7) = lens.focal_px * r2 * r2 * u;
  return true;
}

}  // namespace

std::optional<Eigen::Vector2d> predict_px(const LensModel& lens, const Eigen::Vector3d& direction,
                                          const Eigen::Vector3d& field_turn) {
  const auto middle = project_px(lens, direction);
  if (!middle || field_turn.isZero(0.0)) return middle;
  const Eigen::Matrix3d half = rotation_by(field_turn * (0.5 * std::sqrt(0.6)));
  const auto late = project_px(lens, half * direction), early = project_px(lens, half.transpose() * direction);
  if (!late || !early) return {};
  return (5.0 * *late + 8.0 * *middle + 5.0 * *early) / 18.0;
}

StarTerm star_term(const PictureState& state, std::size_t frame, const Observation& star) {
  StarTerm term;
  const Eigen::Vector3d d = state.camera_from_enu[frame] * star.place_in_enu;
  const auto predicted = predict_px(state.lens, d, state.field_turn[frame]);
  const auto place = project_px(state.lens, d);
  if (!predicted || !lens_columns(state.lens, d, term)) return term;

  // Forward differences along two tangents: 1e-6 rad keeps the relative error near 1e-6, ample for Gauss–Newton.
  constexpr double step = 1e-6;
  const Eigen::Vector3d helper = std::abs(d.x()) < 0.7 ? Eigen::Vector3d::UnitX() : Eigen::Vector3d::UnitY();
  const Eigen::Vector3d t1 = d.cross(helper).normalized(), t2 = d.cross(t1);
  const auto p1 = project_px(state.lens, (d + step * t1).normalized());
  const auto p2 = project_px(state.lens, (d + step * t2).normalized());
  if (!p1 || !p2) return term;
  // d moves by φ × d, whose part along t is φ · (d × t).
  term.jacobian.leftCols<3>() =
      ((*p1 - *place) * d.cross(t1).transpose() + (*p2 - *place) * d.cross(t2).transpose()) / step;
  term.residual_px = star.measured_px - *predicted;
  term.valid = true;
  return term;
}

}  // namespace polewright::mount_detail
