#include "mount/plan.hpp"

#include <Eigen/Cholesky>
#include <cmath>

#include "mount/attitude_fit.hpp"
#include "mount/errors.hpp"
#include "mount/linear.hpp"
#include "mount/normal_equations.hpp"

namespace polewright {
namespace mount_detail {
namespace {

constexpr double kLongestWait_s = 7200.0;
constexpr double kSmallestSwing_deg = 5.0, kLargestSwing_deg = 90.0;
constexpr int kMostPlaces = 200;  // an even spread of more has the same moments to half a percent

/// Stars spread evenly over the frame in a grid of squares; each place counts for stars/places of them.
std::vector<Observation> even_stars(const PlanScene& scene, const PlanFrame& f) {
  const double aspect = scene.width_px / static_cast<double>(scene.height_px);
  const int places = std::min(f.stars, kMostPlaces);
  const int columns = std::max(2, static_cast<int>(std::lround(std::sqrt(places * aspect))));
  const int rows = std::max(2, static_cast<int>(std::lround(places / static_cast<double>(columns))));
  std::vector<Observation> stars;
  for (int r = 0; r < rows; ++r)
    for (int c = 0; c < columns; ++c) {
      const PixelPoint p{(c + 0.5) * scene.width_px / columns - 0.5, (r + 0.5) * scene.height_px / rows - 0.5};
      const auto d = scene.lens.unproject(p);
      if (!d) continue;
      Observation o;
      o.measured_px = {p.x, p.y};
      const double share = f.stars / static_cast<double>(rows * columns);
      o.information = Eigen::Matrix2d::Identity() * share / (f.star_sigma_px * f.star_sigma_px);
      o.place_in_enu = f.frame.camera_from_enu.transpose() * to_eigen(*d);
      stars.push_back(o);
    }
  return stars;
}

}  // namespace

std::optional<Eigen::Matrix3d> planned_axis_covariance(const PlanScene& scene, const std::vector<PlanFrame>& frames) {
  StarData data;
  PictureState state;
  state.lens = scene.lens;
  AxisSetup setup;
  for (const PlanFrame& f : frames) {
    data.frames.push_back(even_stars(scene, f));
    for (Observation& o : data.frames.back()) o.common = static_cast<std::uint32_t>(data.commons++);
    state.camera_from_enu.push_back(f.frame.camera_from_enu);
    state.field_turn.emplace_back(Eigen::Vector3d::Zero());
    setup.frames.push_back(f.frame);
  }
  Terms terms(frames.size());
  for (std::size_t f = 0; f < frames.size(); ++f)
    for (const Observation& o : data.frames[f]) terms[f].push_back(star_term(state, f, o));
  NormalEquations eq = sum_normal_equations(data, terms, unit_noise(data), false);
  eq.information.diagonal().tail<kLensParameters>() += lens_prior_information(scene.lens, {}, scene.width_px);
  const Eigen::LLT<Eigen::MatrixXd> factor(eq.information);
  if (factor.info() != Eigen::Success) return {};
  setup.covariance = factor.solve(Eigen::MatrixXd::Identity(eq.information.rows(), eq.information.cols()));
  setup.lens << scene.lens.focal_px, scene.lens.principal_point.x, scene.lens.principal_point.y, scene.lens.k1,
      scene.lens.k2;
  setup.pole_in_enu = scene.pole_in_enu;
  setup.sky_rate_rad_per_s = scene.sky_rate_rad_per_s;
  setup.turn_noise_rad = MountOptions{}.turn_noise.rad();
  setup.wobble_rad = scene.wobble_rad;
  setup.start_axes = {scene.axis_in_enu};
  const AxisFit fit = fit_axis(setup);
  if (!fit.solved || !fit.full_rank) return {};
  return fit.axis_cov.back();
}

namespace {

Eigen::Matrix3d aimed(const PlannedPointing& pointing) {
  const Eigen::Vector3d z = to_eigen(pointing.boresight.unit());
  const Eigen::Vector3d level = z.cross(Eigen::Vector3d::UnitZ()).normalized();  // to the right when the top is up
  const Eigen::Vector3d down = z.cross(level);
  const double c = cos(pointing.roll), s = sin(pointing.roll);
  Eigen::Matrix3d camera_from_enu;
  camera_from_enu.row(0) = (c * level + s * down).transpose();
  camera_from_enu.row(1) = (c * down - s * level).transpose();
  camera_from_enu.row(2) = z.transpose();
  return camera_from_enu;
}

double total(const Eigen::Matrix3d& cov) {
  return std::sqrt(cov.trace());
}

}  // namespace
}  // namespace mount_detail

using namespace mount_detail;

ExpectedAxis expected_axis(const PlannedSession& session) {
  PlanScene scene{session.lens, session.width_px, session.height_px, {}, {}, 0.0, session.wobble.rad()};
  const double hemisphere = hemisphere_sign(session.site);
  scene.pole_in_enu = to_eigen(visible_pole(session.site, {}, ReferencePole::refracted));
  scene.axis_in_enu = scene.pole_in_enu;
  scene.sky_rate_rad_per_s = -hemisphere * kSiderealRate_rad_per_s;
  std::vector<PlanFrame> frames;
  std::vector<double> group_start(session.pointings.size(), -1.0);
  for (const PlannedFrame& f : session.frames) {
    const auto group = static_cast<std::size_t>(f.group);
    if (group_start[group] < 0.0) group_start[group] = f.time_s;
    const double turn =
        scene.sky_rate_rad_per_s * session.rate_ratio * (f.time_s - group_start[group]) - hemisphere * f.swing.rad();
    PlanFrame p{{}, session.stars, session.star_sigma_px};
    p.frame.camera_from_enu = aimed(session.pointings[group]) * rotation_by(scene.axis_in_enu * -turn);
    p.frame.time_s = f.time_s;
    p.frame.time_sigma_s = session.interval_sigma_s;
    p.frame.group = f.group;
    frames.push_back(p);
  }
  ExpectedAxis expected;
  const auto cov = frames.empty() ? std::nullopt : planned_axis_covariance(scene, frames);
  if (!cov || !cov->allFinite()) return expected;
  expected.observable = total(*cov) < MountOptions{}.largest_useful_sigma.rad();
  expected.on_sky_cov_arcmin2 = on_sky_arcmin2(scene.axis_in_enu, *cov, hemisphere);
  expected.total_sigma = Angle::rad(total(*cov));
  return expected;
}

NextShot plan_next(const MountProblem& problem, const MountSolution& solution, Angle wanted) {
  PlanScene scene{solution.lens, 0, 0, {}, {}, 0.0, solution.wobble.rad()};
  const double hemisphere = hemisphere_sign(problem.site);
  scene.pole_in_enu = to_eigen(visible_pole(problem.site, problem.weather, ReferencePole::refracted));
  scene.axis_in_enu = solution.outcome == MountOutcome::solved ? to_eigen(solution.axis) : scene.pole_in_enu;
  scene.sky_rate_rad_per_s = -hemisphere * kSiderealRate_rad_per_s;
  std::vector<PlanFrame> frames;
  const int last_epoch = solution.frames.empty() ? 0 : solution.frames.back().axis_epoch;
  int first_group = -1;
  for (std::size_t i = 0; i < solution.frames.size(); ++i) {
    const MountFrameFit& fit = solution.frames[i];
    if (fit.set_aside || fit.axis_epoch != last_epoch || fit.stars_used < 2) continue;
    if (first_group < 0) first_group = fit.group;
    PlanFrame p{{}, fit.stars_used, std::max(fit.residual_rms_px, 0.005)};
    p.frame.camera_from_enu = to_eigen(fit.camera_from_enu);
    p.frame.group = fit.group - first_group;
    p.frame.time_sigma_s = problem.frames[i].mid_time_sigma_s;
    frames.push_back(p);
    scene.width_px = problem.frames[i].width_px;
    scene.height_px = problem.frames[i].height_px;
  }
  NextShot next;
  if (frames.empty() || !(scene.lens.focal_px > 0.0)) return next;
  if (const auto now = planned_axis_covariance(scene, frames); now && now->allFinite())
    next.expected_now = Angle::rad(total(*now));
  const auto sigma_after = [&](double turn) {
    auto more = frames;
    more.push_back(frames.back());
    more.back().frame.camera_from_enu *= rotation_by(scene.axis_in_enu * (hemisphere * turn));
    const auto cov = planned_axis_covariance(scene, more);
    return cov && cov->allFinite() ? total(*cov) : 1e9;
  };
  const auto smallest_turn = [&](double most) -> std::optional<double> {
    if (sigma_after(most) > wanted.rad()) return {};
    double low = 0.0, high = most;
    for (int i = 0; i < 20; ++i) (sigma_after(0.5 * (low + high)) > wanted.rad() ? low : high) = 0.5 * (low + high);
    return high;
  };
  // A camera that is not tracking is told to swing; waiting helps at the rate it turns.
  const double rate = std::abs(solution.rate_ratio.value_or(1.0)) * kSiderealRate_rad_per_s;
  if (const auto turn = smallest_turn(rate * kLongestWait_s); turn && rate > 0.02 * kSiderealRate_rad_per_s)
    next.wait_s = *turn / rate;
  if (const auto turn = smallest_turn(Angle::deg(kLargestSwing_deg).rad()))
    next.swing = std::max(Angle::rad(*turn), Angle::deg(kSmallestSwing_deg));
  return next;
}

}  // namespace polewright
