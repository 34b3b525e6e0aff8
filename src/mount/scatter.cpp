#include "mount/scatter.hpp"

#include <cmath>

namespace polewright::mount_detail {
namespace {

const double kLooseTilt_rad = Angle::deg(5.0).rad();
const double kLargestWobbleTried_rad = Angle::deg(2.0).rad();
const double kSmallestTried_rad = Angle::arcsec(0.05).rad();

/// Misfit that chance explains once in twenty times or less; below it nothing is added, so that good frames keep their
/// sigma.
bool misfit(double chi2, int dof) {
  return dof > 0 && chi2 > dof + 2.0 * std::sqrt(2.0 * dof);
}

/// χ² to bring the misfit down to: below its expectation, because a scatter read off two or three equations is as
/// likely far too small as too large, and too small is the dishonest side.
double aim(int dof) {
  return dof * dof / (dof + 2.0);
}

int groups_of(const AxisSetup& setup) {
  return setup.frames.back().group + 1;
}

/// Smallest value of a member of the setup at which chi2 falls to its aim; nothing when none does.
std::optional<double> explain(AxisSetup setup, double AxisSetup::*member, int dof, double largest) {
  setup.*member = largest;
  if (AxisFit fit = fit_axis(setup); !fit.solved || fit.chi2 > aim(dof)) return {};
  double low = std::log(kSmallestTried_rad), high = std::log(largest);
  for (int i = 0; i < 18; ++i) {
    const double middle = 0.5 * (low + high);
    setup.*member = std::exp(middle);
    const AxisFit fit = fit_axis(setup);
    (fit.solved && fit.chi2 > aim(dof) ? low : high) = middle;
  }
  return std::exp(high);
}

HeadSag describe_sag(const AxisSetup& setup, const AxisFit& fit) {
  HeadSag sag;
  const double degrees_of_freedom = 2.0 * (groups_of(setup) - 1);
  sag.axis_scatter = Angle::rad(setup.tilt_sigma_rad);
  const double own = fit.full_rank ? 0.5 * fit.axis_cov.back().trace() * groups_of(setup) : 0.0;
  sag.axis_scatter_sigma =
      Angle::rad(std::sqrt((setup.tilt_sigma_rad * setup.tilt_sigma_rad + own) / (2.0 * degrees_of_freedom)));
  // A head that turns at ρ feigns an axis error of ρ over the sky's rate.
  sag.arcsec_per_min = sag.axis_scatter.arcsec() * std::abs(setup.sky_rate_rad_per_s) * 60.0;
  return sag;
}

}  // namespace

Scatter fit_with_scatter(AxisSetup& setup, const MountOptions& options) {
  Scatter result;
  const int between = 2 * (groups_of(setup) - static_cast<int>(setup.start_axes.size()));
  result.fit = fit_axis(setup);
  if (misfit(result.fit.chi2, result.fit.dof)) {
    AxisSetup loose = setup;
    loose.tilt_sigma_rad = between > 0 ? kLooseTilt_rad : 0.0;
    const AxisFit within = fit_axis(loose);
    const int within_dof = within.dof - between;
    if (misfit(within.chi2, within_dof)) {
      const auto wobble = explain(loose, &AxisSetup::wobble_rad, within_dof, kLargestWobbleTried_rad);
      result.needed_wobble_rad = wobble.value_or(kLargestWobbleTried_rad);
      setup.wobble_rad = result.needed_wobble_rad;
      result.too_large = result.needed_wobble_rad > options.largest_wobble.rad();
    }
    if (between > 0 && misfit(fit_axis(setup).chi2, result.fit.dof))
      setup.tilt_sigma_rad =
          explain(setup, &AxisSetup::tilt_sigma_rad, result.fit.dof, kLooseTilt_rad).value_or(kLooseTilt_rad);
    result.fit = fit_axis(setup);
  }
  if (between > 0) result.sag = describe_sag(setup, result.fit);
  return result;
}

}  // namespace polewright::mount_detail
