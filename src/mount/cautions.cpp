#include "mount/cautions.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "mount/errors.hpp"
#include "mount/linear.hpp"

namespace polewright::mount_detail {
namespace {

// Leaving out costs one fit per frame; beyond this many a single frame cannot matter much.
constexpr std::size_t kMostLeftOut = 24;
// An axis known worse than this is worth another frame: small trackers are set to an arcminute or two by hand.
constexpr double kVagueSigma_arcmin = 2.0;

int groups_of(const MountSolution& s) {
  int groups = 0;
  for (const MountFrameFit& f : s.frames)
    if (!f.set_aside) groups = std::max(groups, f.group + 1);
  return groups;
}

}  // namespace

void describe_adjustments(MountSolution& s, const Series& series, const AxisFit& fit, double hemisphere) {
  std::size_t epoch = 0;
  for (std::size_t i = 1; i < series.kept.size(); ++i) {
    if (!series.links[i].new_epoch) continue;
    ++epoch;
    AxisChange change;
    change.before_frame = series.kept[i];
    change.axis_before = from_eigen<Enu>(fit.axes[epoch - 1]);
    change.axis_after = from_eigen<Enu>(fit.axes[epoch]);
    change.altitude_change = altitude_of(change.axis_after) - altitude_of(change.axis_before);
    change.azimuth_change =
        (azimuth_of(change.axis_after) - azimuth_of(change.axis_before)).wrapped_signed() * hemisphere;
    const Covariance2 a = on_sky_arcmin2(fit.axes[epoch - 1], fit.axis_cov[epoch - 1], hemisphere);
    const Covariance2 b = on_sky_arcmin2(fit.axes[epoch], fit.axis_cov[epoch], hemisphere);
    change.altitude_sigma = Angle::arcmin(std::sqrt(a.xx + b.xx));
    change.azimuth_sigma = Angle::arcmin(std::sqrt(a.yy + b.yy)) / cos(altitude_of(change.axis_after));
    s.adjustments.push_back(change);
  }
}

void leave_one_out(MountSolution& s, const Series& series, const SeriesContext& context, const AxisSetup& setup) {
  if (series.kept.size() < 3 || series.kept.size() > kMostLeftOut) return;
  for (std::size_t i = 0; i < series.kept.size(); ++i) {
    Series rest = series;
    rest.kept.erase(rest.kept.begin() + static_cast<std::ptrdiff_t>(i));
    if (i + 1 < series.links.size() && i > 0) {
      rest.links[i + 1].swung |= series.links[i].swung;
      rest.links[i + 1].new_group |= series.links[i].new_group;
      rest.links[i + 1].new_epoch |= series.links[i].new_epoch;
    }
    rest.links.erase(rest.links.begin() + static_cast<std::ptrdiff_t>(i));
    AxisSetup without = make_setup(rest, context);
    if (without.start_axes.size() != setup.start_axes.size()) continue;
    without.wobble_rad = setup.wobble_rad;
    without.tilt_sigma_rad = setup.tilt_sigma_rad;
    const AxisFit fit = fit_axis(without);
    if (!fit.solved || !fit.full_rank || fit.axis_cov.back().trace() > 1e-3) continue;
    s.frames[series.kept[i]].axis_shift_without = angle_between(s.axis, from_eigen<Enu>(fit.axes.back()));
  }
}

void add_cautions(MountSolution& s, const MountProblem& problem) {
  if (s.total_sigma.arcmin() > kVagueSigma_arcmin)
    s.cautions.push_back(fmt::format("The axis is known to {:.1f}′ only. ", s.total_sigma.arcmin()) +
                         what_to_shoot(problem, s, Angle::arcmin(1.0)));
  if (groups_of(s) < 2) {
    // A head that turns at 1″ per minute feigns an axis error of 1″/(60 s · ω).
    const double per_arcsec_arcmin = Angle::rad(Angle::arcsec(1.0).rad() / (60.0 * kSiderealRate_rad_per_s)).arcmin();
    const bool swung = std::any_of(s.frames.begin(), s.frames.end(), [](const auto& f) { return f.swung; });
    s.cautions.push_back(
        swung ? std::string("One pointing cannot tell a head that gives way while the axis is swung from an axis "
                            "error: 1′ of give over a swing of 50° looks like about 1′ of axis error.")
              : fmt::format("One pointing cannot tell a sagging head from an axis error: 1″ of sag per minute looks "
                            "like {:.1f}′; a second pair after re-aiming the camera tells them apart.",
                            per_arcsec_arcmin));
  }
  if (s.wobble.arcsec() > 1.0)
    s.cautions.push_back(
        fmt::format("The frames scatter by {:.0f}″ about one axis beyond their stars' noise; the "
                    "uncertainty allows for it.",
                    s.wobble.arcsec()));
  if (s.turn_scatter && s.turn_scatter->arcsec() > 5.0)
    s.cautions.push_back(fmt::format("The tracker runs unevenly by {:.0f}″ rms; this is in the rate, not in the axis.",
                                     s.turn_scatter->arcsec()));
  const double swirl = problem.clock_sigma_s * kSiderealRate_rad_per_s * s.total_error.arcmin();
  if (swirl > std::max(0.5, 0.2 * s.total_error.arcmin()))
    s.cautions.push_back(
        fmt::format("The clock is uncertain by {:.0f} s, which turns the direction of the error by "
                    "{:.0f}°; its size does not depend on it.",
                    problem.clock_sigma_s, Angle::rad(problem.clock_sigma_s * kSiderealRate_rad_per_s).deg()));
}

std::string what_to_shoot(const MountProblem& problem, const MountSolution& solution, Angle wanted) {
  const NextShot next = plan_next(problem, solution, wanted);
  if (next.wait_s && next.swing)
    return fmt::format(
        "Take one more frame in {:.0f} min, or swing the axis by {:.0f}° and take it now, to know "
        "the axis to {:.0f}′.",
        std::ceil(*next.wait_s / 60.0), std::ceil(next.swing->deg()), wanted.arcmin());
  if (next.swing)
    return fmt::format("Swing the axis by {:.0f}° and take one more frame to know the axis to {:.0f}′.",
                       std::ceil(next.swing->deg()), wanted.arcmin());
  return "Take frames with more stars and a longer wait between them.";
}

}  // namespace polewright::mount_detail
