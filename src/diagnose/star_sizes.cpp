#include "diagnose/star_sizes.hpp"

#include <algorithm>
#include <cmath>

#include "diagnose/series.hpp"

namespace polewright::diagnose {
namespace {

/// A cloud that costs less than a third of the light is nobody's reason to drop a frame, and changes of height above
/// the horizon cost as much over a night (0.2 to 0.4 mag for an ordinary sky). A convention.
constexpr double kCloudMag = 0.4;

double quantile(std::vector<double> values, double share) {
  if (values.empty()) return 0.0;
  const auto at = values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

/// Scatter from frame to frame, blind to slow changes.
double scatter_of(const std::vector<double>& values) {
  std::vector<double> steps;
  for (std::size_t i = 1; i < values.size(); ++i) steps.push_back(std::abs(values[i] - values[i - 1]));
  return 1.4826 * median_of(std::move(steps)) / std::sqrt(2.0);
}

/// Straight line y = a + b·x; returns the slope and how much better by the information criterion it is than a constant.
struct Line {
  double slope = 0.0, bic_gain = 0.0;
};
Line line_through(const std::vector<double>& x, const std::vector<double>& y) {
  const double n = static_cast<double>(x.size());
  if (x.size() < 4) return {};
  double mx = 0.0, my = 0.0, xx = 0.0, xy = 0.0, yy = 0.0;
  for (std::size_t i = 0; i < x.size(); ++i) {
    mx += x[i] / n;
    my += y[i] / n;
  }
  for (std::size_t i = 0; i < x.size(); ++i) {
    xx += (x[i] - mx) * (x[i] - mx);
    xy += (x[i] - mx) * (y[i] - my);
    yy += (y[i] - my) * (y[i] - my);
  }
  if (xx <= 0.0 || yy <= 0.0) return {};
  const double left = std::max(yy - xy * xy / xx, 1e-6 * yy);
  return {xy / xx, n * std::log(yy / left) - std::log(n)};
}

void measure_width(const std::vector<NightFrame>& frames, const NightOptions& options, StarSizes& out) {
  std::vector<double> widths;
  for (const NightFrame& f : frames)
    if (f.fwhm_px && !f.spoiled) widths.push_back(*f.fwhm_px);
  if (widths.empty()) return;
  out.best_fwhm_px = quantile(widths, 0.125);
  out.width_scatter_px = scatter_of(widths);
  for (std::size_t i = 0; i < frames.size(); ++i) {
    if (!frames[i].fwhm_px || frames[i].spoiled) continue;
    out.growth_px[i] = std::max(0.0, *frames[i].fwhm_px - out.best_fwhm_px);
    out.soft[i] =
        out.growth_px[i] > options.tolerance_px && out.growth_px[i] > options.least_sigma * out.width_scatter_px;
  }
}

void measure_light(const std::vector<NightFrame>& frames, const NightOptions& options, StarSizes& out) {
  std::vector<double> counts, dimmings;
  for (const NightFrame& f : frames) {
    if (f.spoiled) continue;
    counts.push_back(f.stars);
    if (f.dimming_mag) dimmings.push_back(*f.dimming_mag);
  }
  out.stars_expected = quantile(counts, 0.8);
  const double clear = quantile(dimmings, 0.2);
  for (std::size_t i = 0; i < frames.size(); ++i) {
    if (frames[i].dimming_mag) out.dim_mag[i] = *frames[i].dimming_mag - clear;
    const bool few = frames[i].stars < options.lost_stars * out.stars_expected;
    out.lost[i] = !frames[i].spoiled && (few || out.dim_mag[i] > -2.5 * std::log10(options.lost_stars));
  }
}

/// Frames wide enough to matter that follow one another: a state of the optics, not a single accident.
std::vector<std::size_t> lasting(const StarSizes& s) {
  std::vector<std::size_t> out;
  for (std::size_t i = 0; i < s.soft.size(); ++i) {
    const bool before = i > 0 && s.soft[i - 1], after = i + 1 < s.soft.size() && s.soft[i + 1];
    if (s.soft[i] && (before || after)) out.push_back(i);
  }
  return out;
}

void name_softening(const std::vector<NightFrame>& frames, StarSizes& out) {
  if (lasting(out).size() < 3) return;
  // Focus widens stars and leaves their light; dew takes light with every bit of width.
  std::vector<double> growth, dim, warmth, width;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    if (!frames[i].fwhm_px || frames[i].spoiled) continue;
    if (frames[i].dimming_mag) {
      growth.push_back(out.growth_px[i]);
      dim.push_back(out.dim_mag[i]);
    }
    if (frames[i].temperature_c) {
      warmth.push_back(*frames[i].temperature_c);
      width.push_back(*frames[i].fwhm_px);
    }
  }
  const Line light = line_through(growth, dim);
  const double most = growth.empty() ? 0.0 : *std::max_element(growth.begin(), growth.end());
  const bool dims = light.bic_gain > 10.0 && light.slope * most > 0.3;
  out.softening = dims ? Softening::dew : Softening::focus;
  out.softening_bic = dims ? light.bic_gain : -std::abs(light.bic_gain);
  const Line warm = line_through(warmth, width);
  if (warm.bic_gain > 10.0) out.width_per_kelvin = warm.slope;
}

void name_clouds(const std::vector<NightFrame>& frames, StarSizes& out) {
  if (out.softening == Softening::dew) return;
  bool seen_well_after = false;
  std::vector<bool> returns(frames.size(), false);
  for (std::size_t i = frames.size(); i-- > 0;) {
    returns[i] = seen_well_after;
    if (!frames[i].spoiled && !out.lost[i]) seen_well_after = true;
  }
  bool seen_well_before = false;
  for (std::size_t i = 0; i < frames.size(); ++i) {
    // Without a single star in common the light lost is unknown; then only stars that come and go speak of clouds.
    const bool vanished = out.lost[i] && !frames[i].dimming_mag && !frames[i].trail && seen_well_before && returns[i];
    out.clouded[i] = out.dim_mag[i] > kCloudMag || vanished;
    if (!frames[i].spoiled && !out.lost[i]) seen_well_before = true;
  }
}

void measure_pattern(const std::vector<NightFrame>& frames, StarSizes& out) {
  std::vector<double> aberration, tilt;
  for (const NightFrame& f : frames) {
    if (f.aberration_px) aberration.push_back(*f.aberration_px);
    if (f.tilt_px) tilt.push_back(*f.tilt_px);
  }
  const auto error = [](const std::vector<double>& v) {
    return v.empty() ? 0.0 : 1.25 * robust_sigma(v) / std::sqrt(static_cast<double>(v.size()));
  };
  out.aberration_px = median_of(aberration);
  out.aberration_sigma_px = error(aberration);
  out.tilt_px = median_of(tilt);
  out.tilt_sigma_px = error(tilt);
}

}  // namespace

StarSizes star_sizes(const std::vector<NightFrame>& frames, const NightOptions& options) {
  StarSizes out;
  out.growth_px.assign(frames.size(), 0.0);
  out.dim_mag.assign(frames.size(), 0.0);
  out.soft.assign(frames.size(), false);
  out.lost.assign(frames.size(), false);
  out.clouded.assign(frames.size(), false);
  measure_width(frames, options, out);
  measure_light(frames, options, out);
  name_softening(frames, out);
  name_clouds(frames, out);
  measure_pattern(frames, out);
  return out;
}

}  // namespace polewright::diagnose
