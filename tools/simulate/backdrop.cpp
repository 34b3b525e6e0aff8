#include "simulate/backdrop.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace polewright::simulate {
namespace {

double square(double v) {
  return v * v;
}

/// Of two angles within a turn of each other, in (−π, π].
double azimuth_difference(double a, double b) {
  const double d = a - b;
  if (d > std::numbers::pi) return d - 2.0 * std::numbers::pi;
  return d < -std::numbers::pi ? d + 2.0 * std::numbers::pi : d;
}

/// Band of the galaxy: brightest along its plane and towards its centre, broken by dust lanes.
double galaxy(Vec<Icrs> d) {
  // North galactic pole and centre of the galaxy, J2000.0 (IAU system of 1958 carried to J2000.0).
  const Vec<Icrs> pole = icrs_from_equatorial(Angle::deg(192.85948), Angle::deg(27.12825));
  const Vec<Icrs> centre = icrs_from_equatorial(Angle::deg(266.40500), Angle::deg(-28.93617));
  const double latitude = std::asin(std::clamp(d.dot(pole), -1.0, 1.0)) * 180.0 / std::numbers::pi;
  const double longitude = std::atan2(d.dot(pole.cross(centre)), d.dot(centre)) * 180.0 / std::numbers::pi;
  const double width = 7.0 + 5.0 * std::exp(-square(longitude / 25.0));
  const double patches = fractal_noise(longitude / 7.0, latitude / 3.5, 5, 4242);
  const double dust = std::exp(-square((latitude - 1.5 * (patches - 0.5) * 6.0) / 2.2)) * patches;
  const double band = std::exp(-std::abs(latitude) / width) * (0.5 + 0.9 * std::exp(-square(longitude / 45.0)));
  return std::max(0.0, band * (0.55 + 0.9 * patches) * (1.0 - 1.1 * dust));
}

}  // namespace

Backdrop::Backdrop(const Exposure& exposure, const Detector& detector, const Extras& extras, double sky_e)
    : exposure_(&exposure), detector_(&detector), extras_(&extras), sky_e_(sky_e) {
  const Lens& lens = exposure.scene().lens;
  if (extras.foreground) skyline_.emplace(*extras.foreground);
  circle_px_ = image_circle_px(lens);
  columns_ = lens.width_px / kCell + 2;
  lines_ = lens.height_px / kCell + 2;
  // The ground drifts by a few pixels at most while the sky is tracked: nine moments draw that smoothly.
  for (const Step& step : steps_of(exposure, skyline_ && exposure.scene().mount.rate_ratio != 0.0 ? 9 : 1)) {
    const auto enu_from_camera = step.attitude.inverse();
    std::vector<Node> layer;
    layer.reserve(static_cast<std::size_t>(columns_) * static_cast<std::size_t>(lines_));
    for (int j = 0; j < lines_; ++j) {
      for (int i = 0; i < columns_; ++i) {
        const PixelPoint place{static_cast<double>(i * kCell), static_cast<double>(j * kCell)};
        const auto direction = unproject(lens, inside_circle(place));
        Node node;
        if (direction) {
          const Vec<Enu> enu = enu_from_camera * *direction;
          node.azimuth = static_cast<float>(std::atan2(enu.x, enu.y));
          node.altitude = static_cast<float>(std::atan2(enu.z, std::hypot(enu.x, enu.y)));
          if (layers_.empty()) node.sky = static_cast<float>(sky_e_ * glow(enu, place) * vignetting(place));
        }
        layer.push_back(node);
      }
    }
    layers_.push_back(std::move(layer));
  }
}

PixelPoint Backdrop::inside_circle(PixelPoint place) const {
  const PixelPoint centre = exposure_->scene().lens.principal_point();
  const double r = std::hypot(place.x - centre.x, place.y - centre.y);
  if (r < circle_px_) return place;
  const double shrink = 0.9999 * circle_px_ / r;
  return {centre.x + (place.x - centre.x) * shrink, centre.y + (place.y - centre.y) * shrink};
}

double Backdrop::vignetting(PixelPoint place) const {
  const Lens& lens = exposure_->scene().lens;
  const PixelPoint centre = lens.principal_point();
  const double half_diagonal = 0.5 * std::hypot(lens.width_px, lens.height_px);
  return 1.0 -
         detector_->vignetting_corner * square(std::hypot(place.x - centre.x, place.y - centre.y) / half_diagonal);
}

double Backdrop::cloud(Vec<Enu> d) const {
  if (!extras_->clouds) return 0.0;
  const Clouds& c = *extras_->clouds;
  const double z = std::max(d.z, 0.12), minutes = exposure_->mid_time().seconds_since({}) / 60.0;
  const double drift = std::fmod(c.wind_deg_per_min * minutes * std::numbers::pi / 180.0, 1000.0);
  const double n = fractal_noise((d.x / z + drift) / c.scale.rad(), d.y / z / c.scale.rad(), 5, c.seed);
  // Noise values crowd about one half; the edges of a cloud are soft over a tenth.
  return std::clamp((n - (0.5 + 0.35 * (0.5 - c.cover) * 2.0)) / 0.12 + 0.5, 0.0, 1.0);
}

double Backdrop::transmission(Vec<Enu> d) const {
  return extras_->clouds ? std::pow(10.0, -0.4 * extras_->clouds->extinction_mag * cloud(d)) : 1.0;
}

double Backdrop::glow(Vec<Enu> d, PixelPoint place) const {
  const Extras& e = *extras_;
  const double altitude = std::atan2(d.z, std::hypot(d.x, d.y)), azimuth = std::atan2(d.x, d.y);
  double sky = 1.0 + 0.35 * std::exp(-std::max(altitude, 0.0) / 0.25) * (detector_->sky_e_per_px ? 0.0 : 1.0);
  sky += detector_->gradient_per_frame * (place.x / exposure_->scene().lens.width_px - 0.5);
  for (const LightDome& dome : e.light_domes) {
    const double across = azimuth_difference(azimuth, dome.azimuth.wrapped_signed().rad()) / dome.width.rad();
    sky += dome.strength * std::exp(-0.5 * square(across) - std::max(altitude, 0.0) / dome.height.rad());
  }
  if (e.twilight > 0.0) {
    const double away = 0.5 - 0.5 * std::cos(azimuth_difference(azimuth, e.twilight_azimuth.wrapped_signed().rad()));
    sky += e.twilight * std::exp(-std::max(altitude, 0.0) / 0.35) * (1.0 - 0.8 * away);
  }
  if (e.milky_way > 0.0) sky += e.milky_way * galaxy(exposure_->sky().icrs(d));
  if (e.clouds) {
    const double c = cloud(d);
    sky = sky * (1.0 - 0.3 * c) + e.clouds->glow * c * sky;
  }
  return std::max(sky, 0.0);
}

const Backdrop::Node& Backdrop::node(std::size_t layer, int column, int line) const {
  return layers_[layer][static_cast<std::size_t>(line) * static_cast<std::size_t>(columns_) +
                        static_cast<std::size_t>(column)];
}

void Backdrop::row(int y, std::span<float> electrons) const {
  const int line = y / kCell;
  const float v = static_cast<float>(y % kCell) / kCell;
  for (int column = 0; column + 1 < columns_; ++column) {
    const float left = std::lerp(node(0, column, line).sky, node(0, column, line + 1).sky, v);
    const float right = std::lerp(node(0, column + 1, line).sky, node(0, column + 1, line + 1).sky, v);
    const float slope = (right - left) / kCell;
    const int x0 = column * kCell, n = std::min(kCell, static_cast<int>(electrons.size()) - x0);
    for (int i = 0; i < n; ++i) electrons[static_cast<std::size_t>(x0 + i)] = left + slope * static_cast<float>(i);
  }
  if (skyline_) shade_ground(y, electrons);
  darken_outside(y, electrons);
}

void Backdrop::darken_outside(int y, std::span<float> electrons) const {
  // No lens, no light: beyond the image circle the sensor stays dark.
  const PixelPoint centre = exposure_->scene().lens.principal_point();
  const double half = std::sqrt(std::max(0.0, square(circle_px_) - square(y - centre.y)));
  if (half > std::max(centre.x, static_cast<double>(electrons.size()) - centre.x)) return;
  for (std::size_t x = 0; x < electrons.size(); ++x)
    if (std::abs(static_cast<double>(x) - centre.x) > half) electrons[x] = 0.0F;
}

Backdrop::Ground Backdrop::ground_at(std::size_t layer, int x, int y) const {
  const int column = x / kCell, line = y / kCell;
  const double u = static_cast<double>(x % kCell) / kCell, v = static_cast<double>(y % kCell) / kCell;
  const Node &a = node(layer, column, line), &b = node(layer, column + 1, line);
  const Node &c = node(layer, column, line + 1), &d = node(layer, column + 1, line + 1);
  const auto mean = [&](double va, double vb, double vc, double vd) {
    const double upper = va + (vb - va) * u, lower = vc + (vd - vc) * u;
    return upper + (lower - upper) * v;
  };
  // Azimuths are averaged as differences from the first, which the cut at ±180° does not disturb.
  const double turn = mean(0.0, azimuth_difference(b.azimuth, a.azimuth), azimuth_difference(c.azimuth, a.azimuth),
                           azimuth_difference(d.azimuth, a.azimuth));
  return {a.azimuth + turn, mean(a.altitude, b.altitude, c.altitude, d.altitude)};
}

void Backdrop::shade_ground(int y, std::span<float> electrons) const {
  const double share = 1.0 / static_cast<double>(layers_.size()), ground_e = sky_e_ * extras_->foreground->albedo;
  // More than the ground moves in the exposure.
  const double margin = 0.01 + kSidereal_rad_per_s * exposure_->scene().exposure_s;
  const double surely_sky = skyline_->highest_rad() + margin, surely_ground = skyline_->lowest_rad() - margin;
  for (std::size_t x = 0; x < electrons.size(); ++x) {
    const Ground first = ground_at(0, static_cast<int>(x), y);
    if (first.altitude > surely_sky) continue;
    double hidden = first.altitude < surely_ground ? 1.0 : 0.0;
    for (std::size_t layer = 0; first.altitude >= surely_ground && layer < layers_.size(); ++layer) {
      const Ground g = layer == 0 ? first : ground_at(layer, static_cast<int>(x), y);
      if (g.altitude < skyline_->altitude_rad(g.azimuth)) hidden += share;
    }
    if (hidden == 0.0) continue;
    const double lit = ground_e * skyline_->ground_shade(first.azimuth, first.altitude);
    electrons[x] = static_cast<float>(electrons[x] * (1.0 - hidden) + hidden * lit);
  }
}

}  // namespace polewright::simulate
