#include "stars/motion_field.hpp"

#include <Eigen/Dense>
#include <cmath>
#include <random>

namespace polewright {
namespace {

using Row3 = Eigen::RowVector3d;

/// The two rows that give (tx, ty) from (x, y, twist).
void design(PixelPoint p, const MotionField& f, Row3& rx, Row3& ry) {
  const double u = p.x - f.centre.x, v = p.y - f.centre.y;
  rx = Row3(1.0 + f.bend * u * u, f.bend * u * v, v);
  ry = Row3(f.bend * u * v, 1.0 + f.bend * v * v, -u);
}

/// Least squares over the chosen trails with their signs.
bool solve(const std::vector<TrailSample>& trails, const std::vector<std::pair<std::size_t, double>>& chosen,
           MotionField& field) {
  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  Eigen::Vector3d right = Eigen::Vector3d::Zero();
  for (const auto& [i, sign] : chosen) {
    Row3 rx, ry;
    design(trails[i].position, field, rx, ry);
    normal += rx.transpose() * rx + ry.transpose() * ry;
    right += sign * (rx.transpose() * trails[i].tx + ry.transpose() * trails[i].ty);
  }
  const Eigen::Vector3d scale = normal.diagonal().cwiseSqrt().cwiseInverse();
  const Eigen::Matrix3d scaled = scale.asDiagonal() * normal * scale.asDiagonal();
  const Eigen::LDLT<Eigen::Matrix3d> factor(scaled);
  if (factor.vectorD().minCoeff() < 1e-9) return false;
  const Eigen::Vector3d p = scale.cwiseProduct(factor.solve(scale.cwiseProduct(right)));
  field.x_px = p[0];
  field.y_px = p[1];
  field.twist = p[2];
  return true;
}

/// Trails the field explains, each with the sign that fits.
std::vector<std::pair<std::size_t, double>> agreeing(const std::vector<TrailSample>& trails, const MotionField& field,
                                                     double tolerance_px) {
  std::vector<std::pair<std::size_t, double>> out;
  for (std::size_t i = 0; i < trails.size(); ++i) {
    double tx = 0.0, ty = 0.0;
    field.at(trails[i].position, tx, ty);
    const double same = std::hypot(trails[i].tx - tx, trails[i].ty - ty);
    const double turned = std::hypot(trails[i].tx + tx, trails[i].ty + ty);
    const double allowed = tolerance_px + 0.08 * std::hypot(tx, ty);
    if (std::min(same, turned) < allowed) out.emplace_back(i, same <= turned ? 1.0 : -1.0);
  }
  return out;
}

}  // namespace

void MotionField::at(PixelPoint p, double& tx, double& ty) const {
  Row3 rx, ry;
  design(p, *this, rx, ry);
  const Eigen::Vector3d m(x_px, y_px, twist);
  tx = rx.dot(m);
  ty = ry.dot(m);
}

std::optional<MotionField> fit_motion_field(const std::vector<TrailSample>& trails, PixelPoint centre, double bend,
                                            double tolerance_px) {
  if (trails.size() < 4) return {};
  MotionField best;
  std::size_t best_count = 0;
  std::mt19937 rng(12345);  // fixed: the same frame gives the same answer
  std::uniform_int_distribution<std::size_t> pick(0, trails.size() - 1);
  for (int attempt = 0; attempt < 300; ++attempt) {
    const std::size_t i = pick(rng), j = pick(rng);
    if (i == j) continue;
    for (const double sign : {1.0, -1.0}) {
      MotionField field;
      field.centre = centre;
      field.bend = bend;
      if (!solve(trails, {{i, 1.0}, {j, sign}}, field)) continue;
      const std::size_t count = agreeing(trails, field, tolerance_px).size();
      if (count > best_count) best_count = count, best = field;
    }
  }
  for (int round = 0; round < 5; ++round) {
    const auto chosen = agreeing(trails, best, tolerance_px);
    if (2 * chosen.size() < trails.size() || !solve(trails, chosen, best)) return {};
  }
  if (best.x_px < 0.0) best.x_px = -best.x_px, best.y_px = -best.y_px, best.twist = -best.twist;
  return best;
}

}  // namespace polewright
