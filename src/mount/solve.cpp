#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "mount/attitude_fit.hpp"
#include "mount/axis_problem.hpp"
#include "mount/cautions.hpp"
#include "mount/errors.hpp"
#include "mount/linear.hpp"
#include "mount/rate.hpp"
#include "mount/scatter.hpp"
#include "mount/series.hpp"
#include "polewright/mount.hpp"

namespace polewright {
namespace mount_detail {
namespace {

// A field that turns less than this during the exposure has no curved trails to average over: under 1e-4 px.
constexpr double kAveragingMatters_px = 3.0;
const double kSmallestTurn_rad = Angle::arcsec(30.0).rad();
constexpr double kStoppedRatio = 0.02;

PictureState start_state(const MountProblem& problem, const StarData& data) {
  const auto most = std::max_element(problem.frames.begin(), problem.frames.end(),
                                     [](const auto& a, const auto& b) { return a.stars.size() < b.stars.size(); });
  return {data.start_camera_from_enu, most->lens,
          std::vector<Eigen::Vector3d>(problem.frames.size(), Eigen::Vector3d::Zero())};
}

/// Turn of the star field during the exposures of tracked frames, from neighbours. True when any is worth averaging.
bool find_field_turns(const Series& series, const SeriesContext& c, PictureState& state) {
  bool any = false;
  for (std::size_t i = 0; i < series.kept.size(); ++i) {
    const bool with_previous = i > 0 && !series.links[i].swung && !series.links[i].new_group;
    const bool with_next = i + 1 < series.kept.size() && !series.links[i + 1].swung && !series.links[i + 1].new_group;
    if (!with_previous && !with_next) continue;
    const std::size_t a = series.kept[with_next ? i : i - 1], b = series.kept[with_next ? i + 1 : i];
    const MountFrame& frame = c.problem.frames[series.kept[i]];
    const double interval = c.problem.frames[b].mid_time.seconds_since(c.problem.frames[a].mid_time);
    if (interval <= 0.0 || frame.exposure_s <= 0.0) continue;
    const Eigen::Vector3d camera = turn_over_ground(c.attitudes, a, b) / interval;
    const Eigen::Vector3d relative = (c.pole_in_enu * c.sky_rate_rad_per_s - camera) * frame.exposure_s;
    if (relative.norm() * state.lens.focal_px < kAveragingMatters_px) continue;
    state.field_turn[series.kept[i]] = state.camera_from_enu[series.kept[i]] * relative;
    any = true;
  }
  return any;
}

AttitudeFitOptions attitude_options(const MountProblem& problem, const MountOptions& options) {
  AttitudeFitOptions o;
  o.noise.robust_scale = options.robust_scale;
  o.noise.common_error_px = options.common_model_error_px;
  o.width_px = problem.frames.front().width_px;
  o.threads = options.threads;
  return o;
}

void describe_frames(MountSolution& s, const SeriesContext& c, const Series& series) {
  for (std::size_t f = 0; f < c.problem.frames.size(); ++f) {
    MountFrameFit fit;
    fit.camera_from_enu = from_eigen<Camera, Enu>(c.attitudes.state.camera_from_enu[f]);
    fit.residual_rms_px = c.attitudes.residual_rms_px[f];
    fit.stars_used = c.attitudes.stars_used[f];
    fit.set_aside = !series.set_aside[f].empty();
    fit.reason = series.set_aside[f];
    s.frames.push_back(fit);
  }
  int group = 0, epoch = 0;
  for (std::size_t i = 0; i < series.kept.size(); ++i) {
    group += i > 0 && series.links[i].new_group;
    epoch += i > 0 && series.links[i].new_epoch;
    MountFrameFit& fit = s.frames[series.kept[i]];
    fit.group = group;
    fit.axis_epoch = epoch;
    fit.swung = i > 0 && series.links[i].swung && !series.links[i].new_group;
  }
  double sum = 0.0, stars = 0.0;
  for (const MountFrameFit& f : s.frames)
    if (!f.set_aside) sum += f.residual_rms_px * f.residual_rms_px * f.stars_used, stars += f.stars_used;
  s.residual_rms_px = stars > 0.0 ? std::sqrt(sum / stars) : 0.0;
  s.lens = c.attitudes.state.lens;
  s.star_noise_scale = c.attitudes.noise.scale;
  s.common_model_error_px = c.attitudes.noise.common_error_px;
}

/// Largest turn within any group, and whether it is too small to have an axis.
bool hardly_turned(const AxisSetup& setup, double& ratio, double& sigma) {
  double turn = 0.0;
  bool told = false;
  for (std::size_t a = 0; a < setup.frames.size(); ++a)
    for (std::size_t b = a + 1; b < setup.frames.size() && setup.frames[b].group == setup.frames[a].group; ++b) {
      const AxisFrame &fa = setup.frames[a], &fb = setup.frames[b];
      const Eigen::Vector3d v = rotation_vector(fb.camera_from_enu.transpose() * fa.camera_from_enu);
      const double sky = std::abs(setup.sky_rate_rad_per_s) * (fb.time_s - fa.time_s);
      const double noise = std::abs(setup.sky_rate_rad_per_s) * std::hypot(fa.time_sigma_s, fb.time_sigma_s);
      if (v.norm() > std::max(kSmallestTurn_rad, kStoppedRatio * sky) + 3.0 * noise) return false;
      if (v.norm() < turn && told) continue;
      turn = v.norm();
      told = sky > 0.0;
      ratio = told ? v.dot(setup.pole_in_enu) / (setup.sky_rate_rad_per_s * (fb.time_s - fa.time_s)) : 0.0;
      sigma = told ? std::hypot(noise, setup.wobble_rad) / sky : 0.0;
    }
  return true;
}

MountSolution& refuse(MountSolution& s, MountOutcome outcome, std::string message) {
  s.outcome = outcome;
  s.message = std::move(message);
  return s;
}

void describe_turns(MountSolution& s, const Series& series, const AxisSetup& setup, const AxisFit& fit) {
  const double sense = setup.sky_rate_rad_per_s < 0.0 ? -1.0 : 1.0;
  for (std::size_t i = 0; i < series.kept.size(); ++i) s.frames[series.kept[i]].turn = Angle::rad(sense * fit.turns[i]);
  if (const auto rate = mean_rate(setup, fit)) {
    s.rate_ratio = rate->ratio;
    s.rate_sigma = rate->sigma;
    s.rate_match = match_rate(rate->ratio, rate->sigma);
    s.turn_scatter = rate->turn_scatter;
    if (rate->changed)
      s.cautions.emplace_back("The tracking rate changed during the series; the last one is reported.");
  }
}

void solve_series(MountSolution& s, const SeriesContext& c, Series& series) {
  AxisSetup setup = make_setup(series, c);
  double ratio = 0.0, sigma = 0.0;
  if (setup.start_axes.empty()) {
    refuse(s, MountOutcome::axis_not_observable,
           "The camera was re-aimed between all frames, so no two of them share a turn of the axis; take two frames "
           "some minutes apart without touching the camera.");
    return;
  }
  if (hardly_turned(setup, ratio, sigma)) {
    s.rate_ratio = ratio;
    s.rate_sigma = sigma;
    s.rate_match = RateMatch::stopped;
    refuse(s, MountOutcome::axis_not_observable,
           "The camera did not turn between the frames, so they say nothing about the axis; start tracking, or turn "
           "the axis by hand by 30° or more, and shoot again.");
    return;
  }
  const Scatter scatter = fit_with_scatter(setup, c.options);
  const AxisFit& fit = scatter.fit;
  s.wobble = Angle::rad(setup.wobble_rad);
  if (scatter.too_large) {
    refuse(s, MountOutcome::inconsistent,
           fmt::format("The frames do not agree on one axis: they scatter by {:.1f}′ beyond what their stars allow; "
                       "tighten the head, keep the tripod untouched and shoot again.",
                       Angle::rad(scatter.needed_wobble_rad).arcmin()));
    return;
  }
  if (fit.solved) describe_turns(s, series, setup, fit);
  const double total = fit.full_rank ? std::sqrt(fit.axis_cov.back().trace()) : 0.0;
  if (!fit.solved || !fit.full_rank || !(total < c.options.largest_useful_sigma.rad())) {
    refuse(s, MountOutcome::axis_not_observable, "The turn between the frames is too small for the stars measured.");
    s.message += " " + what_to_shoot(c.problem, s, Angle::arcmin(1.0));
    return;
  }
  s.outcome = MountOutcome::solved;
  const double hemisphere = hemisphere_sign(c.problem.site);
  describe_axis(s, fit.axes.back(), fit.axis_cov.back(),
                visible_pole(c.problem.site, c.problem.weather, c.problem.reference_pole), hemisphere);
  describe_adjustments(s, series, fit, hemisphere);
  s.head_sag = scatter.sag;
  leave_one_out(s, series, c, setup);
  add_cautions(s, c.problem);
  s.message =
      fmt::format("The axis points {:.1f}′ ± {:.1f}′ from the pole.", s.total_error.arcmin(), s.total_sigma.arcmin());
}

}  // namespace
}  // namespace mount_detail

using namespace mount_detail;

MountSolution solve_mount(const MountProblem& problem, const MountOptions& options) {
  assert(!options.validate());
  MountSolution solution;
  if (problem.frames.size() < 2) {
    solution.frames.resize(problem.frames.size());
    return refuse(solution, MountOutcome::axis_not_observable,
                  "One frame cannot show the axis; take a second one three minutes or more later, camera untouched.");
  }
  const StarData data = prepare_stars(problem, options.threads);
  AttitudeFit attitudes = fit_attitudes(data, start_state(problem, data), attitude_options(problem, options));
  const Vec<Enu> pole = visible_pole(problem.site, problem.weather, ReferencePole::refracted);
  const SeriesContext context{problem, options, attitudes, to_eigen(pole),
                              -hemisphere_sign(problem.site) * kSiderealRate_rad_per_s};
  Series series = first_reading(context);
  if (find_field_turns(series, context, attitudes.state)) {
    PictureState again = start_state(problem, data);
    again.field_turn = attitudes.state.field_turn;
    attitudes = fit_attitudes(data, std::move(again), attitude_options(problem, options));
    series = first_reading(context);
  }
  if (series.kept.size() >= 2) revise(series, context);
  describe_frames(solution, context, series);
  if (series.kept.size() < 2)
    return refuse(solution, MountOutcome::axis_not_observable,
                  "Fewer than two frames show enough stars; check focus, clouds and exposure and shoot again.");
  solve_series(solution, context, series);
  return solution;
}

Status MountOptions::validate() const {
  const auto bad = [](const char* name, double value, const char* constraint) {
    return Error{ErrorCode::option_invalid, "", fmt::format("{} = {}", name, value), constraint, ""};
  };
  if (!(robust_scale >= 1.0)) return bad("robust_scale", robust_scale, "1 or more");
  if (common_model_error_px && !(*common_model_error_px >= 0.0))
    return bad("common_model_error_px", *common_model_error_px, "0 or more");
  if (!(largest_useful_sigma.rad() > 0.0)) return bad("largest_useful_sigma", largest_useful_sigma.deg(), "above 0°");
  if (!(largest_wobble.rad() >= 0.0)) return bad("largest_wobble", largest_wobble.arcmin(), "0′ or more");
  if (!(turn_noise.rad() > 0.0)) return bad("turn_noise", turn_noise.arcsec(), "above 0″");
  return {};
}

const char* to_text(RateMatch match) {
  switch (match) {
    case RateMatch::sidereal:
      return "sidereal";
    case RateMatch::solar:
      return "solar";
    case RateMatch::lunar:
      return "lunar";
    case RateMatch::half:
      return "half";
    case RateMatch::stopped:
      return "stopped";
    case RateMatch::reversed:
      return "reversed";
    case RateMatch::other:
      return "other";
  }
  return "other";
}

}  // namespace polewright
