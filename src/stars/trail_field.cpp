#include "stars/trail_field.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>

#include "stars/elongation_model.hpp"
#include "stars/profile.hpp"

namespace polewright {
namespace {

constexpr double kLeastSnr = 12.0;        // from here on a star's own trail is fitted
constexpr double kPlentySnr = 30.0;       // fits are biased by up to a few σ²; where there are enough stars of this
constexpr std::size_t kPlenty = 100;      //   significance the fainter ones would add more bias than information
constexpr double kLongPerSigma = 3.5;     // trail per width from which its own errors are normal, not its square's
constexpr std::size_t kForStarts = 120;   // stars that choose among the starts
constexpr std::size_t kLeastStars = 10;   // nine parameters, all but five held by priors where stars are few
constexpr double kShapeFloor = 0.0015;    // of the motion: what merging trails and imperfect squares leave in it
constexpr double kMotionEvidence = 20.0;  // χ² that motion must win over optics alone: three parameters at 4σ

std::vector<ElongationSample> samples_of(const StarList& list, double half_diagonal) {
  const auto telling = [](const Star& s, double least_snr) {
    return s.flags.usable() && !s.flags.saturated && !s.flags.blended && !s.flags.fit_failed && s.snr >= least_snr;
  };
  const auto bright = static_cast<std::size_t>(
      std::count_if(list.stars.begin(), list.stars.end(), [&](const Star& s) { return telling(s, kPlentySnr); }));
  const double least_snr = bright >= kPlenty ? kPlentySnr : kLeastSnr;
  std::vector<ElongationSample> out;
  for (const Star& s : list.stars) {
    if (!telling(s, least_snr)) continue;
    ElongationSample e;
    e.u = (s.position.x - 0.5 * (list.width - 1)) / half_diagonal;
    e.v = (s.position.y - 0.5 * (list.height - 1)) / half_diagonal;
    e.q << s.trail_q1_px2, s.trail_q2_px2;
    e.covariance << s.trail_q_cov.xx, s.trail_q_cov.xy, s.trail_q_cov.xy, s.trail_q_cov.yy;
    e.trail << s.trail_x_px, s.trail_y_px;
    e.trail_covariance << s.trail_cov.xx, s.trail_cov.xy, s.trail_cov.xy, s.trail_cov.yy;
    const bool good = e.q.allFinite() && e.covariance.allFinite() && e.covariance.determinant() > 0.0 &&
                      e.trail_covariance.allFinite() && e.trail_covariance.determinant() > 0.0;
    if (good) out.push_back(e);
  }
  return out;
}

/// Everything about the fits of one frame.
class TrailFieldFit {
 public:
  TrailFieldFit(const StarList& list, const std::optional<double>& focal_px, const std::optional<MotionField>& start)
      : focal_px_(focal_px),
        half_diagonal_(0.5 * std::hypot(list.width, list.height)),
        aspect_u_(0.5 * list.width / half_diagonal_),
        aspect_v_(0.5 * list.height / half_diagonal_),
        problem_(samples_of(list, half_diagonal_), bend_of(focal_px, start) * half_diagonal_ * half_diagonal_,
                 kLongPerSigma * list.psf_sigma_px),
        sigma_px_(list.psf_sigma_px) {
    if (start) start_ = {start->x_px, start->y_px, start->twist * half_diagonal_};
  }

  TrailField run() {
    TrailField field;
    if (problem_.size() < kLeastStars) return field;
    choose_model();
    field.significance = std::max(0.0, (optics_.chi2 - best_.chi2) / 3.0);
    field.aberration_px = aberration_at_corner(best_.parameters);
    report_motion(field);
    return field;
  }

 private:
  static double bend_of(const std::optional<double>& focal_px, const std::optional<MotionField>& start) {
    if (focal_px) return 1.0 / (*focal_px * *focal_px);
    return start ? start->bend : 0.0;
  }

  /// Best of several starts: the squares hide the sign between the centre's motion and the twist.
  [[nodiscard]] ElongationFit fit_from_starts(const ElongationChoice& choice) const {
    Eigen::Vector2d mean = Eigen::Vector2d::Zero();
    double weight = 0.0;
    for (const ElongationSample& s : problem_.samples()) {
      const double w = 1.0 / s.covariance.trace();
      mean += w * s.q;
      weight += w;
    }
    double tx = 0.0, ty = 0.0;
    root_of({mean[0] / weight, mean[1] / weight}, tx, ty);
    const double size = std::max(0.3, std::hypot(tx, ty));
    std::vector<Eigen::Vector3d> starts{{tx, ty, 0.0},    {tx, ty, size},
                                        {tx, ty, -size},  {0.1 * size, 0.1 * size, size},
                                        {size, 0.0, 0.0}, {0.0, size, 0.0}};
    if (start_) starts.insert(starts.begin(), *start_);
    ElongationFit best;
    best.chi2 = 1e300;
    const ElongationProblem few = problem_.thinned(kForStarts);
    for (const Eigen::Vector3d& s : starts) {
      ElongationVector p = ElongationVector::Zero();
      p.head<3>() = s;
      const ElongationFit f = few.fit(p, choice);
      if (f.chi2 < best.chi2) best = f;
    }
    return problem_.fit(best.parameters, choice);
  }

  /// What is known of a lens beforehand, once its elongation at the corner is roughly known: its tilt and displacement
  /// are small beside that, and so is what squares miss of their sum.
  [[nodiscard]] ElongationVector priors_given(const ElongationFit& rough, const ElongationChoice& choice) const {
    const auto& p = rough.parameters;
    const ElongationMatrix spread = problem_.covariance(p, choice);
    double seen = 0.0, noise = 0.0;  // largest along the radius, and its error
    for (const double r2 : {0.1, 0.25, 0.5, 0.75, 1.0}) {
      const double here = std::abs(p[kRadial2] * r2 + p[kRadial4] * r2 * r2);
      if (here < seen) continue;
      seen = here;
      noise = r2 * std::sqrt(spread(kRadial2, kRadial2) + 2.0 * r2 * spread(kRadial2, kRadial4) +
                             r2 * r2 * spread(kRadial4, kRadial4));
    }
    const double optics = std::max(0.0, seen - 2.0 * noise);
    ElongationVector prior = ElongationVector::Zero();
    prior[kTiltA] = prior[kTiltB] = 0.05 + 0.15 * optics;
    prior[kRadial2] = prior[kRadial4] = 2.0 * (seen + noise);
    prior[kRadial6] = 0.5 * (seen + noise);
    prior[kResponse] = 0.1 * std::min(1.0, 0.01 + optics / (12.0 * sigma_px_ * sigma_px_));
    if (focal_px_) prior[kTwist] = twist_beside(p.head<2>().norm());
    return prior;
  }

  /// 1σ of the twist at the corner beside a motion of the centre. A rotation about an arbitrary direction twists the
  /// corners by half-diagonal/focal of what it moves the centre; one in ten is so close to the boresight that it is
  /// five times that.
  [[nodiscard]] double twist_beside(double centre_px) const {
    return 0.005 + 4.0 * half_diagonal_ / *focal_px_ * centre_px;
  }

  void choose_model() {
    ElongationChoice first = choice_;
    first.free[kResponse] = first.free[kRadial6] = false;
    const ElongationFit rough = fit_from_starts(first);
    choice_.prior_sigma = priors_given(rough, first);
    best_ = fit_from_starts(choice_);
    // The scatter is judged by the model that comes closest; it is the same for all of them.
    problem_.absorb_scatter(best_.parameters);
    best_ = problem_.fit(best_.parameters, choice_);
    ElongationChoice still = choice_;
    still.free[kMotionX] = still.free[kMotionY] = still.free[kTwist] = still.free[kResponse] = false;
    optics_ = problem_.fit(ElongationVector::Zero(), still);
    moved_ = optics_.chi2 - best_.chi2 > kMotionEvidence;
  }

  [[nodiscard]] double worst_px(const ElongationFit& f) const {
    double worst = 0.0;
    for (const double u : {-aspect_u_, aspect_u_})
      for (const double v : {-aspect_v_, aspect_v_}) worst = std::max(worst, problem_.trail(f.parameters, u, v).norm());
    return worst;
  }
  [[nodiscard]] double aberration_at_corner(const ElongationVector& p) const {
    double worst = 0.0;
    for (const double u : {-aspect_u_, aspect_u_})
      for (const double v : {-aspect_v_, aspect_v_})
        worst = std::max(worst, ElongationProblem::aberration(p, u, v).norm());
    return std::sqrt(worst);
  }

  /// What can be said of the motion when none is evident. The square of nothing is noise, and its root would pass for
  /// motion: what noise alone gives on average is taken off, and the error is such that value over error is how
  /// significant the square is.
  void motion_within_noise(Eigen::Vector3d& m, Eigen::Matrix3d& covariance) const {
    ElongationChoice linear = choice_;
    linear.form = MotionForm::square;
    linear.free[kTwist] = linear.free[kResponse] = false;
    const ElongationFit common = problem_.fit(optics_.parameters, linear);
    const ElongationMatrix spread = problem_.covariance(common.parameters, linear);
    const Eigen::Vector2d q = common.parameters.head<2>();
    const double sigma = std::sqrt(0.5 * spread.topLeftCorner<2, 2>().trace());
    const double square = std::max(1e-12, q.norm()), in_sigma = square / sigma;
    const double kept = std::sqrt(std::max(0.0, square * square - 2.0 * sigma * sigma));
    double x = 0.0, y = 0.0;
    root_of({q[0] * kept / square, q[1] * kept / square}, x, y);
    m = {x, y, 0.0};
    // A squared normal pair's r has the significance of a normal z of about r − 0.5.
    const double upper = std::sqrt(kept + sigma) - std::sqrt(kept);
    const double error = std::max(upper, std::sqrt(kept) / std::max(0.3, in_sigma - 0.5));
    // The square of the twist is what the tangential pattern could hide.
    double twist_square = std::sqrt(spread(kRadial2, kRadial2));
    if (focal_px_) twist_square = std::min(twist_square, std::pow(twist_beside(std::hypot(m[0], m[1]) + error), 2));
    covariance = Eigen::Vector3d(error * error, error * error, twist_square).asDiagonal();
  }

  void report_motion(TrailField& field) const {
    Eigen::Vector3d m = best_.parameters.head<3>();
    Eigen::Matrix3d covariance;
    if (moved_) {
      covariance = problem_.covariance(best_.parameters, choice_).topLeftCorner<3, 3>();
      covariance.diagonal().array() += std::pow(kShapeFloor, 2) * m.squaredNorm();
    } else {
      motion_within_noise(m, covariance);
    }
    if (m[0] < 0.0) m = -m;
    field.centre_trail_x_px = m[0];
    field.centre_trail_y_px = m[1];
    field.centre_trail_cov = {covariance(0, 0), covariance(0, 1), covariance(1, 1)};
    field.twist_px_at_corner = std::abs(m[2]);
    report_worst(field, m, covariance);
    if (!focal_px_) return;
    // (x, y) = f·(−ωy, ωx), twist = ωz per half-diagonal.
    const double f = *focal_px_;
    Eigen::Matrix3d turn;
    turn << 0.0, 1.0 / f, 0.0, -1.0 / f, 0.0, 0.0, 0.0, 0.0, 1.0 / half_diagonal_;
    const Eigen::Vector3d omega = turn * m;
    field.rotation = Vec<Camera>{omega[0], omega[1], omega[2]};
    const Eigen::Matrix3d omega_cov = turn * covariance * turn.transpose();
    for (Eigen::Index i = 0; i < 3; ++i)
      for (Eigen::Index j = 0; j < 3; ++j) field.rotation_cov[static_cast<std::size_t>(3 * i + j)] = omega_cov(i, j);
  }

  void report_worst(TrailField& field, const Eigen::Vector3d& m, const Eigen::Matrix3d& covariance) const {
    for (const double u : {-aspect_u_, 0.0, aspect_u_})
      for (const double v : {-aspect_v_, 0.0, aspect_v_}) {
        Eigen::Matrix<double, 2, 3> rows;
        for (Eigen::Index i = 0; i < 3; ++i) {
          ElongationVector unit = ElongationVector::Zero();
          unit[i] = 1.0;
          rows.col(i) = problem_.trail(unit, u, v);
        }
        const Eigen::Vector2d t = rows * m;
        const Eigen::Matrix2d c = rows * covariance * rows.transpose();
        const double length = t.norm();
        const double sigma = length > 0.0 ? std::sqrt(t.dot(c * t)) / length : std::sqrt(0.5 * c.trace());
        if (length >= field.worst_trail_px) {
          field.worst_trail_px = length;
          field.worst_trail_sigma_px = sigma;
        }
      }
  }

  std::optional<double> focal_px_;
  double half_diagonal_, aspect_u_, aspect_v_;
  ElongationProblem problem_;
  double sigma_px_;
  std::optional<Eigen::Vector3d> start_;
  ElongationFit optics_, best_;
  ElongationChoice choice_{
      MotionForm::trail, {true, true, true, true, true, true, true, true, true}, ElongationVector::Zero()};
  bool moved_ = false;
};

}  // namespace

TrailField fit_trail_field(const StarList& list, const std::optional<double>& focal_px,
                           const std::optional<MotionField>& start) {
  return TrailFieldFit(list, focal_px, start).run();
}

}  // namespace polewright
