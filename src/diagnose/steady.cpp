#include "diagnose/steady.hpp"

#include <cmath>

namespace polewright::diagnose {
namespace {

bool is_steady(Term term) {
  return term == Term::drift || term == Term::bend || term == Term::bend3;
}

/// Mount's turn over the sky's, as a vector along the mount's axis: r·m = p − σΩ/ω, the stars turning with −Ω.
Vec<Camera> rate_along_axis(const Displacement& moved, double seconds, const NightField& field) {
  const Vec<Camera> omega = -star_turn_of(moved, field) * (1.0 / seconds);
  return *field.pole - omega * (field.hemisphere / kSiderealRate_rad_per_s);
}

/// 1σ of the drift's three components, px (and px at the corner) per second, from the residual.
Eigen::Vector3d drift_sigma(const Series& s, const Account& account) {
  const double n = static_cast<double>(s.size());
  const double freedom = std::max(1.0, 3.0 * n - account.parameter_count);
  const double noise = std::sqrt(std::max(1.0, account.rss / freedom));
  const double mean = s.time_s.mean();
  const double spread = std::sqrt((s.time_s.array() - mean).square().sum());
  const double red = account.redness();
  const double sigma = noise / std::max(spread, 1e-9) * std::sqrt((1.0 + red) / (1.0 - red));
  return (s.px_from_y.cwiseAbs2() * Eigen::Vector3d::Constant(sigma * sigma)).cwiseSqrt();
}

}  // namespace

SteadyParts split_steady(const Displacement& moved, double seconds, const NightField& field) {
  SteadyParts parts;
  if (!field.pole || !field.focal_px || seconds <= 0.0) {
    parts.rest = moved;
    return parts;
  }
  const Vec<Camera> along = rate_along_axis(moved, seconds, field);
  const double size = along.norm();
  const double sign = along.dot(*field.pole) < 0.0 ? -1.0 : 1.0;
  // Ω = σω(p − m) + σω(1 − r)m. A mount that hardly turns has no axis to speak of: then all of it is the rate.
  if (size < 0.08) {
    parts.rate = moved;
    return parts;
  }
  const Vec<Camera> axis = along * (sign / size);
  const double turn = field.hemisphere * kSiderealRate_rad_per_s * seconds;
  parts.axis = displacement_of(-(*field.pole - axis) * turn, field);
  parts.rate = displacement_of(-axis * ((1.0 - sign * size) * turn), field);
  return parts;
}

std::optional<SteadyDrift> steady_drift(const Series& s, const Account& account, const NightField& field) {
  Displacement moved = Displacement::Zero();
  bool any = false;
  const double middle = s.size() == 0 ? 0.0 : 0.5 * (s.time_s[0] + s.time_s[s.size() - 1]);
  for (std::size_t i = 0; i < account.components.size(); ++i)
    if (is_steady(account.components[i].term)) {
      moved += account.moved(i, s, middle - 30.0, middle + 30.0);
      any = true;
    }
  if (!any) return {};
  SteadyDrift d;
  const Eigen::Vector3d sigma = drift_sigma(s, account) * 60.0;
  d.x_px_per_min = moved.x();
  d.y_px_per_min = moved.y();
  d.roll_arcmin_per_min = Angle::rad(moved.z() / corner_px(field)).arcmin();
  d.centre_px_per_min = std::hypot(moved.x(), moved.y());
  d.centre_sigma_px_per_min = std::max(sigma.x(), sigma.y());
  d.worst_px_per_min = worst_of(moved, field);
  if (!field.focal_px) return d;
  const double per_min = kSiderealRate_rad_per_s * 60.0;
  const double across = d.centre_sigma_px_per_min / *field.focal_px / per_min;
  const double roll = sigma.z() / corner_px(field) / per_min;
  d.turn_ratio = star_turn_of(moved, field).norm() / per_min;
  d.turn_ratio_sigma = std::hypot(across, roll);
  if (!field.pole) return d;
  const Vec<Camera> along = rate_along_axis(moved, 60.0, field);
  const double size = along.norm();
  d.rate_ratio = along.dot(*field.pole) < 0.0 ? -size : size;
  d.rate_sigma =
      std::sqrt(std::pow(across, 2) * (1.0 - std::pow(field.pole->z, 2)) + std::pow(roll * field.pole->z, 2));
  if (size >= 0.05) {
    d.axis_offset = angle_between(along * (*d.rate_ratio < 0.0 ? -1.0 : 1.0), *field.pole);
    d.axis_offset_sigma = Angle::rad(d.turn_ratio_sigma.value());
  }
  const SteadyParts parts = split_steady(moved, 60.0, field);
  d.axis_px_per_min = worst_of(parts.axis, field);
  d.rate_px_per_min = worst_of(parts.rate, field);
  return d;
}

}  // namespace polewright::diagnose
