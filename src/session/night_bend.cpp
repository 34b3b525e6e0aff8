#include "session/night_bend.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <vector>

namespace polewright::session {
namespace {

using Eigen::Index;
using Eigen::Matrix2d;
using Eigen::MatrixXd;
using Eigen::Vector3d;
using Eigen::VectorXd;

constexpr int kLeastFreedom = 6;  ///< figures beyond what axis and starts take: five frames of one pointing
/// Of a bend before the frames are seen: tripods on soft ground and ball heads bend more often than not. Common
/// practice, no source; 1 instead of 2 leaves the 95 % region of walking nights at 79 % instead of 88 %, more widens
/// clean nights.
constexpr double kOddsBefore = 2.0;
/// Sizes looked at, over that which would leave the departures seen; an octave apart, as the likelihood is wider.
constexpr std::array<double, 5> kSizes{0.25, 0.5, 1.0, 2.0, 4.0};
constexpr std::array<double, 4> kScatters{0.0, 0.35, 0.7, 1.2};  ///< from frame to frame, over the departures' rms

Vector3d eigen(Vec<Camera> v) {
  return {v.x, v.y, v.z};
}

/// One pointing on the head: its first frame, and the directions across the axis in camera axes, where a rigid mount's
/// axis stands still.
struct Pointing {
  const MountFrameFit* start;
  Vec<Camera> axis;
  Eigen::Matrix<double, 3, 2> across;
};

Pointing pointing_from(const MountFrameFit& start, Vec<Enu> axis) {
  Pointing out{&start, start.camera_from_enu * axis, {}};
  const Vec<Camera> other = std::abs(out.axis.z) < 0.9 ? Vec<Camera>{0, 0, 1} : Vec<Camera>{1, 0, 0};
  const Vec<Camera> a = out.axis.cross(other).unit();
  out.across << eigen(a), eigen(out.axis.cross(a));
  return out;
}

/// Small rotation (rad, camera axes) that a matrix close to one is.
Vector3d small_turn(const Rotation<Camera, Camera>& r) {
  return 0.5 * Vector3d(r.m[7] - r.m[5], r.m[2] - r.m[6], r.m[3] - r.m[1]);
}

/// Covariance of a frame's attitude from its stars, rad², camera axes.
Eigen::Matrix3d attitude_noise(const MountFrame& frame, const MountSolution& mount) {
  constexpr double kStep_rad = 1e-5;
  Eigen::Matrix3d information = Eigen::Matrix3d::Zero();
  for (const MountStar& star : frame.stars) {
    const auto d = mount.lens.unproject(star.measured);
    if (!d) continue;
    Eigen::Matrix<double, 2, 3> rows;
    bool seen = true;
    for (int k = 0; k < 3; ++k) {
      const Vec<Camera> about{k == 0 ? 1.0 : 0.0, k == 1 ? 1.0 : 0.0, k == 2 ? 1.0 : 0.0};
      const auto moved = mount.lens.project((*d + about.cross(*d) * kStep_rad).unit());
      seen = seen && moved;
      if (moved) rows.col(k) << (moved->x - star.measured.x) / kStep_rad, (moved->y - star.measured.y) / kStep_rad;
    }
    if (!seen) continue;
    Matrix2d noise;
    noise << star.measured_cov.xx, star.measured_cov.xy, star.measured_cov.xy, star.measured_cov.yy;
    information += rows.transpose() * noise.inverse() * rows;
  }
  return information.completeOrthogonalDecomposition().pseudoInverse() * std::pow(mount.star_noise_scale, 2);
}

/// The frames' departures across the axis as a linear problem: departure = start of its pointing + (1 − turn back)·q,
/// where q is the error of the axis turned by a right angle. What the turn about the axis did is left out altogether.
struct Course {
  VectorXd time;       ///< 0 to 1 over the series
  VectorXd departure;  ///< two per frame, rad
  MatrixXd design;     ///< q (up and level parts of the axis' error), then two starts per pointing
  MatrixXd star_noise;
};

/// Frames that the axis reported comes from: those after the last adjustment.
std::vector<std::size_t> frames_used(const MountSolution& mount) {
  std::vector<std::size_t> used;
  int epoch = 0;
  for (const MountFrameFit& f : mount.frames)
    if (!f.set_aside) epoch = std::max(epoch, f.axis_epoch);
  for (std::size_t i = 0; i < mount.frames.size(); ++i)
    if (!mount.frames[i].set_aside && mount.frames[i].axis_epoch == epoch) used.push_back(i);
  return used;
}

/// Directions in which an axis can err: up, and level on the side where the azimuth error counts positive.
std::array<Vec<Enu>, 2> error_directions(const MountSolution& mount, const Site& site) {
  const Vec<Enu> level = mount.axis.cross(Vec<Enu>{0, 0, 1}).unit();
  return {level.cross(mount.axis), level * hemisphere_sign(site)};
}

Matrix2d turned(double rad) {
  return (Matrix2d() << std::cos(rad), -std::sin(rad), std::sin(rad), std::cos(rad)).finished();
}

Course course_of(const MountProblem& problem, const MountSolution& mount, const std::vector<std::size_t>& used) {
  const auto n = static_cast<Index>(used.size());
  const int first_group = mount.frames[used[0]].group, groups = mount.frames[used.back()].group - first_group + 1;
  Course c{VectorXd(n), VectorXd(2 * n), MatrixXd::Zero(2 * n, 2 + 2 * groups), MatrixXd::Zero(2 * n, 2 * n)};
  const double sense = -hemisphere_sign(problem.site);
  const UtcTime first = problem.frames[used[0]].mid_time;
  const double span_s = std::max(1.0, problem.frames[used.back()].mid_time.seconds_since(first));
  const auto directions = error_directions(mount, problem.site);
  Pointing pointing{};
  for (Index i = 0; i < n; ++i) {
    const std::size_t k = used[static_cast<std::size_t>(i)];
    const MountFrameFit& now = mount.frames[k];
    if (!pointing.start || pointing.start->group != now.group) pointing = pointing_from(now, mount.axis);
    const Angle turn = (now.turn - pointing.start->turn) * sense;
    const auto model = rotation_about(pointing.axis, -turn) * pointing.start->camera_from_enu;
    const auto across = pointing.across.transpose();
    c.time[i] = problem.frames[k].mid_time.seconds_since(first) / span_s;
    c.departure.segment<2>(2 * i) = across * small_turn(now.camera_from_enu * model.inverse());
    for (Index d = 0; d < 2; ++d) {
      const Vec<Enu> q = mount.axis.cross(directions[static_cast<std::size_t>(d)]);
      c.design.block<2, 1>(2 * i, d) =
          (Matrix2d::Identity() - turned(-turn.rad())) * (across * eigen(pointing.start->camera_from_enu * q));
    }
    c.design.block<2, 2>(2 * i, 2 + 2 * (now.group - first_group)).setIdentity();
    c.star_noise.block<2, 2>(2 * i, 2 * i) = across * attitude_noise(problem.frames[k], mount) * pointing.across;
  }
  return c;
}

using Correlation = std::function<double(double, double)>;

/// Shapes a slow departure may have, times in units of the series' length: a random walk, and smooth courses that
/// forget themselves after a quarter, half and all of it. Sizes are free, so their scale means nothing.
std::vector<Correlation> slow_shapes() {
  std::vector<Correlation> out{[](double a, double b) { return std::min(a, b); }};
  for (const double memory : {0.25, 0.5, 1.0})
    out.emplace_back([memory](double a, double b) { return std::exp(-0.5 * std::pow((a - b) / memory, 2)); });
  return out;
}

MatrixXd correlated(const VectorXd& time, const Correlation& shape) {
  const Index n = time.size();
  MatrixXd out = MatrixXd::Zero(2 * n, 2 * n);
  for (Index i = 0; i < n; ++i)
    for (Index j = 0; j < n; ++j) out.block<2, 2>(2 * i, 2 * j) = shape(time[i], time[j]) * Matrix2d::Identity();
  return out;
}

class BendFit {
 public:
  BendFit(const Course& course, double wobble_rad) : c_(course) {
    const Index n = c_.departure.size();
    const MatrixXd fitted = c_.star_noise + wobble_rad * wobble_rad * MatrixXd::Identity(n, n);
    const MatrixXd weight = fitted.inverse();
    estimator_ = (c_.design.transpose() * weight * c_.design).inverse() * c_.design.transpose() * weight;
    left_ = c_.departure - c_.design * (estimator_ * c_.departure);
    leaves_ = MatrixXd::Identity(n, n) - c_.design * estimator_;
    stated_ = of_axis(fitted);
    rms_ = std::sqrt(left_.squaredNorm() / freedom());
  }

  [[nodiscard]] double rms_rad() const { return rms_; }
  [[nodiscard]] double odds() const { return odds_; }

  /// Covariance of q beyond what was stated; nothing when there is nothing slow to see.
  [[nodiscard]] std::optional<Matrix2d> excess() {
    const Index n = c_.departure.size();
    Mean still, slow;
    for (const double scatter : kScatters) {
      const MatrixXd base = c_.star_noise + std::pow(scatter * rms_, 2) * MatrixXd::Identity(n, n);
      take(base, still);
      for (const Correlation& shape : slow_shapes()) {
        const MatrixXd kernel = correlated(c_.time, shape);
        const double leaves2 = (leaves_ * kernel * leaves_.transpose()).trace() / freedom();
        if (!(leaves2 > 0.0)) continue;  // all frames at one moment
        for (const double size : kSizes) take(base + std::pow(size * rms_, 2) / leaves2 * kernel, slow);
      }
    }
    odds_ = kOddsBefore * std::exp(slow.log_mean() - still.log_mean());
    if (odds_ < 1.0) return {};
    const Matrix2d mean = (still.covariance() + odds_ * slow.covariance()) / (1.0 + odds_);
    // What is stated already stays; only more is added, along every direction that has more.
    const Eigen::SelfAdjointEigenSolver<Matrix2d> more(Matrix2d(mean - stated_));
    return Matrix2d(more.eigenvectors() * more.eigenvalues().cwiseMax(0.0).asDiagonal() *
                    more.eigenvectors().transpose());
  }

 private:
  [[nodiscard]] double freedom() const { return static_cast<double>(c_.design.rows() - c_.design.cols()); }

  /// Mean over trial covariances, weighted by likelihood.
  struct Mean {
    double largest = -1e300, weights = 0.0;
    int count = 0;
    Matrix2d sum = Matrix2d::Zero();
    [[nodiscard]] double log_mean() const { return largest + std::log(weights / std::max(1, count)); }
    [[nodiscard]] Matrix2d covariance() const { return sum / weights; }
  };

  [[nodiscard]] Matrix2d of_axis(const MatrixXd& noise) const {
    return (estimator_ * noise * estimator_.transpose()).topLeftCorner<2, 2>();
  }

  /// Restricted likelihood: axis and start integrated out (Patterson and Thompson 1971).
  void take(const MatrixXd& noise, Mean& mean) const {
    const Eigen::LLT<MatrixXd> root(noise);
    if (root.info() != Eigen::Success) return;
    const MatrixXd design = root.matrixL().solve(c_.design);
    const VectorXd departure = root.matrixL().solve(c_.departure);
    const Eigen::LLT<MatrixXd> normal(design.transpose() * design);
    if (normal.info() != Eigen::Success) return;
    const VectorXd along = normal.matrixL().solve(design.transpose() * departure);
    const auto log_sum = [](const auto& factor) {
      return factor.matrixLLT().diagonal().array().log().sum();  // half the logarithm of the determinant
    };
    const double log_likelihood =
        -log_sum(root) - log_sum(normal) - 0.5 * (departure.squaredNorm() - along.squaredNorm());
    if (log_likelihood > mean.largest) {
      const double fade = std::exp(mean.largest - log_likelihood);
      mean.weights *= fade;
      mean.sum *= fade;
      mean.largest = log_likelihood;
    }
    const double weight = std::exp(log_likelihood - mean.largest);
    mean.weights += weight;
    mean.sum += weight * of_axis(noise);
    ++mean.count;
  }

  const Course& c_;
  MatrixXd estimator_, leaves_;
  VectorXd left_;
  Matrix2d stated_;
  double rms_ = 0.0, odds_ = 0.0;
};

/// Adds a covariance (rad², up and level) to the axis' errors as the mount states them.
void widen(MountSolution& mount, const Matrix2d& more) {
  const Matrix2d added = more * std::pow(Angle::rad(1.0).arcmin(), 2);
  Covariance2& cov = mount.on_sky_cov_arcmin2;
  cov = {cov.xx + added(0, 0), cov.xy + added(0, 1), cov.yy + added(1, 1)};
  mount.altitude_sigma = Angle::arcmin(std::sqrt(cov.xx));
  mount.azimuth_on_sky_sigma = Angle::arcmin(std::sqrt(cov.yy));
  mount.azimuth_sigma = mount.azimuth_on_sky_sigma / cos(altitude_of(mount.axis));
  mount.total_sigma = Angle::arcmin(std::sqrt(cov.xx + cov.yy));
}

std::optional<AxisBend> allow_for_bend(const MountProblem& problem, MountSolution& mount) {
  if (mount.outcome != MountOutcome::solved) return {};
  const std::vector<std::size_t> used = frames_used(mount);
  const Course course = course_of(problem, mount, used);
  if (course.departure.size() < course.design.cols() + kLeastFreedom) return {};
  BendFit fit(course, mount.wobble.rad());
  const auto excess = fit.excess();
  if (!excess) return {};
  const AxisBend bend{fit.rms_rad() * mount.lens.focal_px, fit.odds(), mount.total_sigma};
  widen(mount, *excess);
  return bend;
}

/// Furthest that the camera moved across the axis from one pointing on the head to the next, rad. A base that is
/// adjusted takes the camera along, as far as the axis.
double furthest_across(const MountSolution& mount) {
  double furthest = 0.0;
  const MountFrameFit* last = nullptr;
  for (const MountFrameFit& f : mount.frames) {
    if (f.set_aside) continue;
    if (last && f.group != last->group) {
      const Rotation<Enu, Enu> moved = f.camera_from_enu.inverse() * last->camera_from_enu;
      const Eigen::AngleAxisd turn(
          Eigen::Map<const Eigen::Matrix<double, 3, 3, Eigen::RowMajor>>(moved.m.data()).eval());
      const Vector3d axis(mount.axis.x, mount.axis.y, mount.axis.z);
      furthest = std::max(furthest, (turn.angle() * turn.axis()).cross(axis).norm());
    }
    last = &f;
  }
  return furthest;
}

double largest_adjustment(const MountSolution& mount) {
  double largest = 0.0;
  for (const AxisChange& change : mount.adjustments)
    largest = std::max(largest, angle_between(change.axis_before, change.axis_after).rad());
  return largest;
}

}  // namespace

NightMount solve_night(const MountProblem& problem, const MountOptions& options) {
  NightMount out{solve_mount(problem, options), {}};
  if (!out.mount.adjustments.empty()) {
    // Nobody adjusts a mount between the subs of a night without the field leaping as far.
    MountProblem untouched = problem;
    untouched.adjusted_before = {0};  // and not since
    MountSolution held = solve_mount(untouched, options);
    if (held.outcome == MountOutcome::solved && furthest_across(held) < 0.5 * largest_adjustment(out.mount))
      out.mount = std::move(held);
  }
  out.bend = allow_for_bend(problem, out.mount);
  return out;
}

void allow_for_drift(MountSolution& mount, Angle sigma) {
  widen(mount, sigma.rad() * sigma.rad() * Matrix2d::Identity());
}

}  // namespace polewright::session
