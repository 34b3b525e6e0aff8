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

/// Ideal radius of a direction and its slope with the angle from the axis; false outside the projection's domain.
bool radius_and_slope(Projection p, double across, double z, double& r, double& slope) {
  if (p == Projection::rectilinear) {  // most frames: no trigonometry
    static const double largest = std::tan(largest_theta_rad(p));
    if (z <= 0.0 || across > largest * z) return false;
    r = across / z;
    slope = 1.0 + r * r;
    return true;
  }
  const double theta = std::atan2(across, z);
  if (theta > largest_theta_rad(p)) return false;
  r = ideal_radius(p, theta);
  const double half_cosine = std::cos(0.5 * theta);
  slope = p == Projection::equidistant ? 1.0
          : p == Projection::equisolid ? half_cosine
                                       : 1.0 / (half_cosine * half_cosine);
  return true;
}

/// Model place and its derivatives; false where the lens cannot show the direction.
bool place_and_slopes(const Pose& pose, Vec<Icrs> direction, Eigen::Vector2d& place, Rows* slopes) {
  const LensModel& lens = pose.lens;
  const Vec<Camera> c = pose.camera_from_icrs * direction;
  const double across = std::sqrt(c.x * c.x + c.y * c.y);
  double r = 0.0, slope = 0.0;
  if (!radius_and_slope(lens.projection, across, c.z, r, slope)) return false;
  const double r2 = r * r;
  const double growth = 1.0 + 3.0 * lens.k1 * r2 + 5.0 * lens.k2 * r2 * r2;
  if (growth <= 0.0) return false;
  const double stretch = 1.0 + lens.k1 * r2 + lens.k2 * r2 * r2;
  const double side = lens.mirrored ? -1.0 : 1.0, f = lens.focal_px;
  const bool off_axis = across > 1e-12;
  const double ux = off_axis ? c.x / across : 1.0, uy = off_axis ? c.y / across : 0.0;
  const double from_x = side * f * r * stretch * ux, from_y = f * r * stretch * uy;
  place = {from_x + lens.principal_point.x, from_y + lens.principal_point.y};
  if (slopes == nullptr) return true;

  // By the camera direction: radially the slope of the mapping, across it the ratio of radius to distance.
  const double tangential = off_axis ? r * stretch / across : 1.0, radial = slope * growth;
  const double tx = c.z * ux, ty = c.z * uy, tz = -across;  // slope of the angle from the axis
  const double gx[3] = {radial * ux * tx + tangential * uy * uy, radial * ux * ty - tangential * ux * uy,
                        radial * ux * tz};
  const double gy[3] = {radial * uy * tx - tangential * ux * uy, radial * uy * ty + tangential * ux * ux,
                        radial * uy * tz};
  // By the rotation vector ω: the direction moves by ω × c, so the derivative is c × gradient.
  Rows& j = *slopes;
  const double fx = f * side;
  j.row(0) << fx * (c.y * gx[2] - c.z * gx[1]), fx * (c.z * gx[0] - c.x * gx[2]), fx * (c.x * gx[1] - c.y * gx[0]),
      from_x, 1.0, 0.0, from_x * (r2 / stretch), from_x * (r2 * r2 / stretch);
  j.row(1) << f * (c.y * gy[2] - c.z * gy[1]), f * (c.z * gy[0] - c.x * gy[2]), f * (c.x * gy[1] - c.y * gy[0]), from_y,
      0.0, 1.0, from_y * (r2 / stretch), from_y * (r2 * r2 / stretch);
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
      normal->selfadjointView<Eigen::Lower>().rankUpdate(slopes.transpose(), w);
      gradient->noalias() += slopes.transpose() * (w * residual);
    }
    Vector offset;
    offset << 0, 0, 0, 0, pose.lens.principal_point.x - start_.x, pose.lens.principal_point.y - start_.y, pose.lens.k1,
        pose.lens.k2;
    cost += 0.5 * (prior_.array() * offset.array().square()).sum();
    if (normal != nullptr) {
      *normal = normal->selfadjointView<Eigen::Lower>();
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
