#include "identify/lens_fit.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "lens/projection.hpp"

namespace polewright {
namespace {

constexpr int kSize = 8;  // rotation vector (3), log focal length, principal point (2), k1, k2
using Vector = Eigen::Matrix<double, kSize, 1>;
using Matrix = Eigen::Matrix<double, kSize, kSize>;
using Rows = Eigen::Matrix<double, 2, kSize>;

double radius_slope(Projection p, double theta) {
  switch (p) {
    case Projection::rectilinear:
      return 1.0 / (std::cos(theta) * std::cos(theta));
    case Projection::equidistant:
      return 1.0;
    case Projection::equisolid:
      return std::cos(0.5 * theta);
    case Projection::stereographic:
      return 1.0 / (std::cos(0.5 * theta) * std::cos(0.5 * theta));
  }
  return 1.0;
}

/// Model place and its derivatives; false where the lens cannot show the direction.
bool place_and_slopes(const Pose& pose, Vec<Icrs> direction, Eigen::Vector2d& place, Rows* slopes) {
  const LensModel& lens = pose.lens;
  const Vec<Camera> c = pose.camera_from_icrs * direction;
  const double across = std::hypot(c.x, c.y), theta = std::atan2(across, c.z);
  if (theta > largest_theta_rad(lens.projection)) return false;
  const double r = ideal_radius(lens.projection, theta), r2 = r * r;
  const double growth = 1.0 + 3.0 * lens.k1 * r2 + 5.0 * lens.k2 * r2 * r2;
  if (growth <= 0.0) return false;
  const double stretch = 1.0 + lens.k1 * r2 + lens.k2 * r2 * r2;
  const double side = lens.mirrored ? -1.0 : 1.0, f = lens.focal_px;
  const Eigen::Vector2d u = across > 1e-12 ? Eigen::Vector2d(c.x / across, c.y / across) : Eigen::Vector2d(1.0, 0.0);
  const Eigen::Vector2d from_axis(side * f * r * stretch * u.x(), f * r * stretch * u.y());
  place = from_axis + Eigen::Vector2d(lens.principal_point.x, lens.principal_point.y);
  if (slopes == nullptr) return true;

  const double tangential = across > 1e-12 ? r * stretch / across : 1.0;
  const double radial = radius_slope(lens.projection, theta) * growth;
  Eigen::Matrix<double, 2, 3> by_direction;  // of the place without mirror, per focal length
  const Eigen::RowVector3d theta_slope(c.z * u.x(), c.z * u.y(), -across);
  by_direction = radial * u * theta_slope;
  by_direction.leftCols<2>() += tangential * (Eigen::Matrix2d::Identity() - u * u.transpose());
  Eigen::Matrix3d turned;  // derivative of exp(ω)·c by ω
  turned << 0, c.z, -c.y, -c.z, 0, c.x, c.y, -c.x, 0;
  slopes->leftCols<3>() = f * by_direction * turned;
  slopes->row(0).head<3>() *= side;
  slopes->col(3) = from_axis;
  slopes->block<2, 2>(0, 4).setIdentity();
  slopes->col(6) = from_axis * (r2 / stretch);
  slopes->col(7) = from_axis * (r2 * r2 / stretch);
  return true;
}

Pose moved(const Pose& pose, const Vector& step) {
  Pose p = pose;
  const Vec<Camera> turn{step[0], step[1], step[2]};
  if (const double angle = turn.norm(); angle > 0.0)
    p.camera_from_icrs = rotation_about(turn * (1.0 / angle), Angle::rad(angle)) * pose.camera_from_icrs;
  p.lens.focal_px *= std::exp(std::clamp(step[3], -0.5, 0.5));
  p.lens.principal_point.x += step[4];
  p.lens.principal_point.y += step[5];
  p.lens.k1 += step[6];
  p.lens.k2 += step[7];
  return p;
}

class Problem {
 public:
  Problem(const Pose& start, const std::vector<FitPair>& pairs, const FitOptions& options)
      : pairs_(pairs), options_(options), start_(start.lens.principal_point) {
    const double corner = options.half_diagonal_px / start.lens.focal_px, corner2 = corner * corner;
    prior_ << 0, 0, 0, 0, weight(options.principal_point_prior * options.half_diagonal_px),
        weight(options.principal_point_prior * options.half_diagonal_px), weight(options.distortion_prior / corner2),
        weight(options.distortion_prior / (corner2 * corner2));
    const FitFreedom& free = options.freedom;
    const std::array<bool, kSize> moves{true,    true,   true, free.focal, free.principal_point, free.principal_point,
                                        free.k1, free.k2};
    for (int i = 0; i < kSize; ++i) moves_[i] = moves[static_cast<std::size_t>(i)] ? 1.0 : 0.0;
  }

  /// Robust cost; with `normal` and `gradient` also the linearised problem.
  double evaluate(const Pose& pose, Matrix* normal, Vector* gradient) const {
    const double c2 = options_.robust_sigmas * options_.robust_sigmas;
    double cost = 0.0;
    Eigen::Vector2d place;
    Rows slopes;
    for (const FitPair& pair : pairs_) {
      // A direction that has left the lens's domain costs as much as a wild residual, so that no step gains by it.
      if (!place_and_slopes(pose, pair.direction, place, normal != nullptr ? &slopes : nullptr)) {
        cost += 0.5 * c2 * std::log1p(1e6);
        continue;
      }
      const Eigen::Vector2d residual(pair.place.x - place.x(), pair.place.y - place.y());
      const double inverse_variance = 1.0 / (pair.sigma_px * pair.sigma_px);
      const double scaled = residual.squaredNorm() * inverse_variance / c2;
      cost += 0.5 * c2 * std::log1p(scaled);
      if (normal == nullptr) continue;
      const double w = inverse_variance / (1.0 + scaled);
      normal->noalias() += w * slopes.transpose() * slopes;
      gradient->noalias() += w * slopes.transpose() * residual;
    }
    Vector offset;
    offset << 0, 0, 0, 0, pose.lens.principal_point.x - start_.x, pose.lens.principal_point.y - start_.y, pose.lens.k1,
        pose.lens.k2;
    cost += 0.5 * (prior_.array() * offset.array().square()).sum();
    if (normal != nullptr) {
      normal->diagonal() += prior_;
      *gradient -= prior_.cwiseProduct(offset);
      *gradient = gradient->cwiseProduct(moves_);
      *normal = moves_.asDiagonal() * *normal * moves_.asDiagonal();
      for (int i = 0; i < kSize; ++i)
        if (moves_[i] == 0.0) (*normal)(i, i) = 1.0;
    }
    return cost;
  }

 private:
  static double weight(double sigma) { return 1.0 / (sigma * sigma); }
  const std::vector<FitPair>& pairs_;
  const FitOptions& options_;
  PixelPoint start_;
  Vector prior_, moves_;
};

}  // namespace

double robust_scatter(const Pose& pose, const std::vector<FitPair>& pairs) {
  std::vector<double> size;
  Eigen::Vector2d place;
  for (const FitPair& pair : pairs)
    if (place_and_slopes(pose, pair.direction, place, nullptr)) {
      size.push_back(std::abs(pair.place.x - place.x()) / pair.sigma_px);
      size.push_back(std::abs(pair.place.y - place.y()) / pair.sigma_px);
    }
  if (size.empty()) return 0.0;
  const auto middle = size.begin() + static_cast<std::ptrdiff_t>(size.size() / 2);
  std::nth_element(size.begin(), middle, size.end());
  return *middle / 0.6745;  // median of |normal| in sigmas
}

FitSummary fit_pose(Pose& pose, const std::vector<FitPair>& pairs, const FitOptions& options) {
  const Problem problem(pose, pairs, options);
  double damping = 1e-4;
  FitSummary summary;
  summary.cost = problem.evaluate(pose, nullptr, nullptr);
  for (int step = 0; step < options.max_steps; ++step) {
    Matrix normal = Matrix::Zero();
    Vector gradient = Vector::Zero();
    problem.evaluate(pose, &normal, &gradient);
    bool better = false;
    double gain = 0.0;
    for (; damping < 1e8 && !better; damping *= 10.0) {
      Matrix damped = normal;
      damped.diagonal() *= 1.0 + damping;
      const Pose next = moved(pose, damped.ldlt().solve(gradient));
      const double cost = problem.evaluate(next, nullptr, nullptr);
      if (std::isfinite(cost) && cost <= summary.cost) {
        better = true;
        gain = summary.cost - cost;
        pose = next;
        summary.cost = cost;
        damping *= 0.01;
      }
    }
    if (!better || gain < 1e-6 * (1e-3 + summary.cost)) break;
  }
  summary.typical_sigmas = robust_scatter(pose, pairs);
  return summary;
}

}  // namespace polewright
