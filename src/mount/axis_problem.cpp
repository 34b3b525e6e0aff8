#include "mount/axis_problem.hpp"

#include <ceres/ceres.h>
#include <ceres/normal_prior.h>

#include <Eigen/Cholesky>
#include <Eigen/QR>
#include <cmath>

#include "mount/linear.hpp"
#include "mount/motion_model.hpp"
#include "mount/residuals/star_residual.hpp"
#include "mount/residuals/trail_residual.hpp"
#include "mount/residuals/turn_residual.hpp"

namespace polewright::mount_detail {
namespace {

// A rate during one exposure differs from the mean by the slope of the periodic error: 50″ at 480 s gives 4 %.
constexpr double kRateDuringExposureSigma = 0.05;
// Pivots of the normalised derivative below this share of the largest are not told from rounding.
constexpr double kRankTolerance = 1e-10;

struct Blocks {
  std::vector<Eigen::Vector3d> axes;
  std::vector<Eigen::Vector2d> tilts;
  std::vector<Eigen::Vector4d> starts;
  std::vector<double> turns, times, exposure_ratios;
  double clock_s = 0.0, ratio = 1.0;
  Eigen::Matrix<double, kLensParameters, 1> lens;
};

Eigen::Vector4d wxyz(const Eigen::Matrix3d& m) {
  const Eigen::Quaterniond q(m);
  return {q.w(), q.x(), q.y(), q.z()};
}

/// First frame of every group: its turn is zero by definition.
std::vector<std::size_t> first_frames(const AxisSetup& setup) {
  std::vector<std::size_t> first;
  for (std::size_t f = 0; f < setup.frames.size(); ++f)
    if (setup.frames[f].group == static_cast<int>(first.size())) first.push_back(f);
  return first;
}

Blocks start_blocks(const AxisSetup& setup) {
  Blocks b;
  b.axes = setup.start_axes;
  b.lens = setup.lens;
  for (const std::size_t f : first_frames(setup)) {
    b.starts.push_back(wxyz(setup.frames[f].camera_from_enu));
    b.tilts.emplace_back(0.0, 0.0);
  }
  const auto first = first_frames(setup);
  for (const AxisFrame& frame : setup.frames) {
    const AxisFrame& origin = setup.frames[first[static_cast<std::size_t>(frame.group)]];
    const Eigen::Vector3d over_ground = rotation_vector(frame.camera_from_enu.transpose() * origin.camera_from_enu);
    b.turns.push_back(over_ground.dot(setup.start_axes[static_cast<std::size_t>(frame.epoch)]));
    b.times.push_back(0.0);
    b.exposure_ratios.push_back(1.0);
  }
  return b;
}

Eigen::Matrix<double, 3, 2> across(const Eigen::Vector3d& axis) {
  Eigen::Matrix<double, 3, 2> t;
  t.col(0) = axis.cross(std::abs(axis.z()) < 0.9 ? Eigen::Vector3d::UnitZ() : Eigen::Vector3d::UnitX()).normalized();
  t.col(1) = axis.cross(t.col(0));
  return t;
}

/// Lᵀ of the attitudes' and lens's information with the wobble allowed for.
std::optional<Eigen::MatrixXd> whitening(const AxisSetup& setup) {
  Eigen::MatrixXd cov = setup.covariance;
  const auto attitudes = 3 * static_cast<Eigen::Index>(setup.frames.size());
  cov.diagonal().head(attitudes).array() += setup.wobble_rad * setup.wobble_rad;
  // Scaled to unit diagonal first: angles and lens terms differ by ten orders of magnitude.
  const Eigen::VectorXd scale = cov.diagonal().cwiseSqrt();
  if (!scale.allFinite() || scale.minCoeff() <= 0.0) return {};
  cov = scale.cwiseInverse().asDiagonal() * cov * scale.cwiseInverse().asDiagonal();
  const Eigen::LLT<Eigen::MatrixXd> factor(cov);
  if (factor.info() != Eigen::Success) return {};
  // cov = G·Gᵀ, so G⁻¹ whitens as well as Lᵀ does.
  const Eigen::MatrixXd unit = Eigen::MatrixXd::Identity(cov.rows(), cov.cols());
  return factor.matrixL().solve(unit) * scale.cwiseInverse().asDiagonal();
}

class AxisProblem {
 public:
  AxisProblem(const AxisSetup& setup, Eigen::MatrixXd whitening)
      : setup_(setup), blocks_(start_blocks(setup)), problem_(options()) {
    add_stars(std::move(whitening));
    add_priors();
    add_turns();
    add_trails();
    fix_origins();
  }

  AxisFit solve() {
    ceres::Solver::Options o;
    o.linear_solver_type = ceres::DENSE_QR;
    o.max_num_iterations = 60;
    o.function_tolerance = 1e-12;
    o.parameter_tolerance = 1e-14;
    o.gradient_tolerance = 0.0;
    o.logging_type = ceres::SILENT;
    ceres::Solver::Summary summary;
    ceres::Solve(o, &problem_, &summary);
    AxisFit fit;
    fit.solved = summary.IsSolutionUsable();
    if (!fit.solved) return fit;
    copy_solution(fit);
    describe_covariance(fit);
    return fit;
  }

 private:
  static ceres::Problem::Options options() {
    ceres::Problem::Options o;
    o.enable_fast_removal = false;
    return o;
  }

  void add_stars(Eigen::MatrixXd whitening) {
    StarResidualShape shape;
    shape.axes = static_cast<int>(blocks_.axes.size());
    shape.groups = static_cast<int>(blocks_.starts.size());
    shape.pole_in_enu = setup_.pole_in_enu;
    shape.sky_rate_rad_per_s = setup_.sky_rate_rad_per_s;
    shape.tilt_directions = across(setup_.start_axes.back());
    shape.whitening = std::move(whitening);
    shape.measured_lens = setup_.lens;
    for (const AxisFrame& f : setup_.frames) shape.frames.push_back({wxyz(f.camera_from_enu), f.epoch, f.group});
    for (auto& a : blocks_.axes) add(a.data(), 3, new ceres::SphereManifold<3>());
    for (auto& t : blocks_.tilts) add(t.data(), 2);
    for (auto& q : blocks_.starts) add(q.data(), 4, new ceres::QuaternionManifold());
    for (double& t : blocks_.turns) add(&t, 1);
    for (double& t : blocks_.times) add(&t, 1);
    add(&blocks_.clock_s, 1);
    add(blocks_.lens.data(), kLensParameters);
    attitudes_.push_back(problem_.AddResidualBlock(new StarResidual(std::move(shape)), nullptr, order_));
  }

  void add(double* block, int size, ceres::Manifold* manifold = nullptr) {
    problem_.AddParameterBlock(block, size, manifold);
    order_.push_back(block);
  }

  void add_prior(double* value, double mean, double sigma) {
    problem_.AddResidualBlock(
        new ceres::NormalPrior(Eigen::Matrix<double, 1, 1>(1.0 / sigma), Eigen::Matrix<double, 1, 1>(mean)), nullptr,
        value);
  }

  void add_priors() {
    for (std::size_t f = 0; f < setup_.frames.size(); ++f) {
      if (setup_.frames[f].time_sigma_s > 0.0)
        add_prior(&blocks_.times[f], 0.0, setup_.frames[f].time_sigma_s);
      else
        problem_.SetParameterBlockConstant(&blocks_.times[f]);
    }
    if (setup_.clock_sigma_s > 0.0)
      add_prior(&blocks_.clock_s, 0.0, setup_.clock_sigma_s);
    else
      problem_.SetParameterBlockConstant(&blocks_.clock_s);
    for (auto& tilt : blocks_.tilts) {
      if (setup_.tilt_sigma_rad <= 0.0) {
        problem_.SetParameterBlockConstant(tilt.data());
        continue;
      }
      const Eigen::MatrixXd information = Eigen::Matrix2d::Identity() / setup_.tilt_sigma_rad;
      attitudes_.push_back(problem_.AddResidualBlock(new ceres::NormalPrior(information, Eigen::Vector2d::Zero()),
                                                     nullptr, tilt.data()));
    }
  }

  void add_turns() {
    for (std::size_t f = 1; f < setup_.frames.size(); ++f) {
      const AxisFrame &a = setup_.frames[f - 1], &b = setup_.frames[f];
      if (!b.tracked_from_previous || a.group != b.group || a.epoch != b.epoch) continue;
      // Heavy tails: a change of rate on purpose must not bend the turns.
      problem_.AddResidualBlock(
          TurnResidual::create(b.time_s - a.time_s, setup_.sky_rate_rad_per_s, setup_.turn_noise_rad),
          new ceres::CauchyLoss(3.0), &blocks_.turns[f - 1], &blocks_.turns[f], &blocks_.times[f - 1],
          &blocks_.times[f], &blocks_.ratio);
    }
  }

  void add_trails() {
    for (std::size_t f = 0; f < setup_.frames.size(); ++f) {
      const AxisFrame& frame = setup_.frames[f];
      if (!frame.trail || frame.exposure_s <= 0.0) continue;
      const Eigen::LLT<Eigen::Matrix3d> factor(frame.trail_cov);
      if (factor.info() != Eigen::Success) continue;
      const Eigen::Matrix3d whiten = factor.matrixL().solve(Eigen::Matrix3d::Identity());
      const Eigen::Vector3d expected = expected_trail(f);
      // A trail has no front end: the side nearer to what the other frames say. Where both are within the noise of each
      // other the trail says nothing that the sign could spoil.
      const double sign = (whiten * expected).dot(whiten * *frame.trail) >= 0.0 ? 1.0 : -1.0;
      auto& axis = blocks_.axes[static_cast<std::size_t>(frame.epoch)];
      auto& start = blocks_.starts[static_cast<std::size_t>(frame.group)];
      problem_.AddResidualBlock(TrailResidual::create({sign * *frame.trail, whiten, setup_.pole_in_enu,
                                                       setup_.sky_rate_rad_per_s, frame.exposure_s}),
                                nullptr, axis.data(), start.data(), &blocks_.turns[f], &blocks_.exposure_ratios[f]);
      add_prior(&blocks_.exposure_ratios[f], mean_ratio(f), kRateDuringExposureSigma);
      order_.push_back(&blocks_.exposure_ratios[f]);
    }
  }

  /// Turn of the camera relative to the stars during a frame's exposure, from the starting values.
  [[nodiscard]] Eigen::Vector3d expected_trail(std::size_t f) const {
    const AxisFrame& frame = setup_.frames[f];
    const Eigen::Vector3d& axis = blocks_.axes[static_cast<std::size_t>(frame.epoch)];
    return frame.camera_from_enu * (mean_ratio(f) * axis - setup_.pole_in_enu) * setup_.sky_rate_rad_per_s *
           frame.exposure_s;
  }

  /// Rate about the axis between a frame and its tracked neighbour; sidereal when it has none.
  [[nodiscard]] double mean_ratio(std::size_t f) const {
    for (const auto& [a, b] : {std::pair{f, f + 1}, std::pair{f - 1, f}}) {
      if (b == 0 || b >= setup_.frames.size() || a >= b) continue;
      const AxisFrame& late = setup_.frames[b];
      const double interval = late.time_s - setup_.frames[a].time_s;
      if (late.tracked_from_previous && late.group == setup_.frames[a].group && interval > 0.0)
        return (blocks_.turns[b] - blocks_.turns[a]) / (interval * setup_.sky_rate_rad_per_s);
    }
    return 1.0;
  }

  void fix_origins() {
    for (const std::size_t f : first_frames(setup_)) problem_.SetParameterBlockConstant(&blocks_.turns[f]);
    if (problem_.HasParameterBlock(&blocks_.ratio)) order_.push_back(&blocks_.ratio);
  }

  void copy_solution(AxisFit& fit) const {
    fit.axes = blocks_.axes;
    fit.tilts = blocks_.tilts;
    for (const auto& q : blocks_.starts) fit.start.emplace_back(q[0], q[1], q[2], q[3]);
    fit.turns = blocks_.turns;
    fit.time_errors_s = blocks_.times;
    fit.lens = blocks_.lens;
  }

  /// Covariance of everything from the whitened residuals' derivative; none when the rank is short.
  void describe_covariance(AxisFit& fit) {
    ceres::Problem::EvaluateOptions evaluate;
    evaluate.residual_blocks = attitudes_;
    double cost = 0.0;
    problem_.Evaluate(evaluate, &cost, nullptr, nullptr, nullptr);
    fit.chi2 = 2.0 * cost;

    evaluate = {};
    std::vector<Eigen::Index> offset;
    Eigen::Index n = 0;
    for (double* block : order_) {
      offset.push_back(problem_.IsParameterBlockConstant(block) ? -1 : n);
      if (problem_.IsParameterBlockConstant(block)) continue;
      n += problem_.ParameterBlockTangentSize(block);
      evaluate.parameter_blocks.push_back(block);
    }
    ceres::CRSMatrix sparse;
    problem_.Evaluate(evaluate, nullptr, nullptr, nullptr, &sparse);
    const auto covariance = invert_information(sparse, n);
    const auto frames = static_cast<Eigen::Index>(setup_.frames.size());
    int free_turns = 0;
    const std::size_t first_turn = blocks_.axes.size() + 2 * blocks_.starts.size();
    for (Eigen::Index f = 0; f < frames; ++f) free_turns += offset[first_turn + static_cast<std::size_t>(f)] >= 0;
    fit.dof = static_cast<int>(3 * frames) - free_turns - 3 * static_cast<int>(blocks_.starts.size()) -
              2 * static_cast<int>(blocks_.axes.size());
    if (!covariance) return;
    fit.full_rank = true;
    for (std::size_t e = 0; e < blocks_.axes.size(); ++e) {
      Eigen::Matrix<double, 3, 2, Eigen::RowMajor> basis;
      ceres::SphereManifold<3>().PlusJacobian(blocks_.axes[e].data(), basis.data());
      fit.axis_cov.push_back(basis * covariance->block<2, 2>(offset[e], offset[e]) * basis.transpose());
    }
    fit.turn_time_cov = Eigen::MatrixXd::Zero(2 * frames, 2 * frames);
    for (Eigen::Index i = 0; i < 2 * frames; ++i)
      for (Eigen::Index j = 0; j < 2 * frames; ++j) {
        const Eigen::Index a = offset[first_turn + static_cast<std::size_t>(i)];
        const Eigen::Index b = offset[first_turn + static_cast<std::size_t>(j)];
        if (a >= 0 && b >= 0) fit.turn_time_cov(i, j) = (*covariance)(a, b);
      }
  }

  static std::optional<Eigen::MatrixXd> invert_information(const ceres::CRSMatrix& sparse, Eigen::Index n) {
    Eigen::MatrixXd jacobian = Eigen::MatrixXd::Zero(sparse.num_rows, n);
    for (int row = 0; row < sparse.num_rows; ++row)
      for (int k = sparse.rows[static_cast<std::size_t>(row)]; k < sparse.rows[static_cast<std::size_t>(row) + 1]; ++k)
        jacobian(row, sparse.cols[static_cast<std::size_t>(k)]) = sparse.values[static_cast<std::size_t>(k)];
    const Eigen::VectorXd scale = jacobian.colwise().norm();
    if (scale.minCoeff() <= 0.0 || !scale.allFinite()) return {};
    // By orthogonal factors of the derivative, not of its square: a loose clock is known 1e7 times worse than a turn.
    const Eigen::ColPivHouseholderQR<Eigen::MatrixXd> qr(jacobian * scale.cwiseInverse().asDiagonal());
    const Eigen::MatrixXd r = qr.matrixR().topLeftCorner(n, n);
    if (std::abs(r(n - 1, n - 1)) < kRankTolerance * std::abs(r(0, 0))) return {};
    const Eigen::MatrixXd inverse = r.triangularView<Eigen::Upper>().solve(Eigen::MatrixXd::Identity(n, n));
    const Eigen::MatrixXd half = scale.cwiseInverse().asDiagonal() * (qr.colsPermutation() * inverse);
    return half * half.transpose();
  }

  const AxisSetup& setup_;
  Blocks blocks_;
  ceres::Problem problem_;
  std::vector<double*> order_;
  std::vector<ceres::ResidualBlockId> attitudes_;  // stars, and leans of the axis
};

}  // namespace

AxisFit fit_axis(const AxisSetup& setup) {
  auto whiten = whitening(setup);
  if (!whiten) return {};
  return AxisProblem(setup, std::move(*whiten)).solve();
}

Eigen::Matrix3d model_attitude(const AxisSetup& setup, const AxisFit& fit, std::size_t frame) {
  const AxisFrame& f = setup.frames[frame];
  const auto group = static_cast<std::size_t>(f.group);
  double axis[3], q[4];
  const Eigen::Quaterniond& s = fit.start[group];
  const double start[4] = {s.w(), s.x(), s.y(), s.z()};
  leaning_axis(fit.axes[static_cast<std::size_t>(f.epoch)].data(), fit.tilts[group].data(),
               across(setup.start_axes.back()), axis);
  camera_from_nominal_enu(start, axis, fit.turns[frame], setup.pole_in_enu,
                          fit.time_errors_s[frame] * setup.sky_rate_rad_per_s, q);
  return Eigen::Quaterniond(q[0], q[1], q[2], q[3]).toRotationMatrix();
}

}  // namespace polewright::mount_detail
