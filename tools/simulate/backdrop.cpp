#include "simulate/backdrop.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace polewright::simulate {
namespace {

double square(double v) {
  return v * v;
}

double azimuth_difference(double a, double b) {
  return std::remainder(a - b, 2.0 * std::numbers::pi);
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
  columns_ = lens.width_px / kCell + 2;
  lines_ = lens.height_px / kCell + 2;
  const auto centre = exposure.attitude(0.0).inverse() * Vec<Camera>{0, 0, 1};
  centre_azimuth_ = std::atan2(centre.x, centre.y);
  // The ground drifts by a few pixels at most while the sky is tracked: nine moments draw that smoothly.
  for (const Step& step : steps_of(exposure, skyline_ && exposure.scene().mount.rate_ratio != 0.0 ? 9 : 1)) {
    const auto enu_from_camera = step.attitude.inverse();
    std::vector<Node> layer;
    layer.reserve(static_cast<std::size_t>(columns_) * static_cast<std::size_t>(lines_));
    for (int j = 0; j < lines_; ++j) {
      for (int i = 0; i < columns_; ++i) {
        const PixelPoint place{static_cast<double>(i * kCell), static_cast<double>(j * kCell)};
        const auto direction = unproject(lens, place);
        Node node;
        if (direction) {
          const Vec<Enu> enu = enu_from_camera * *direction;
          node.azimuth = static_cast<float>(azimuth_difference(std::atan2(enu.x, enu.y), centre_azimuth_));
          node.altitude = static_cast<float>(std::atan2(enu.z, std::hypot(enu.x, enu.y)));
          if (layers_.empty()) node.sky = static_cast<float>(sky_e_ * glow(enu, place) * vignetting(place));
        }
        layer.push_back(node);
      }
    }
    layers_.push_back(std::move(layer));
  }
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
    const double across = azimuth_difference(azimuth, dome.azimuth.rad()) / dome.width.rad();
    sky += dome.strength * std::exp(-0.5 * square(across) - std::max(altitude, 0.0) / dome.height.rad());
  }
  if (e.twilight > 0.0) {
    const double away = 0.5 - 0.5 * std::cos(azimuth_difference(azimuth, e.twilight_azimuth.rad()));
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
}

void Backdrop::shade_ground(int y, std::span<float> electrons) const {
  const int line = y / kCell;
  const float v = static_cast<float>(y % kCell) / kCell;
  const double low = skyline_->lowest_rad(), high = skyline_->highest_rad(),
               share = 1.0 / static_cast<double>(layers_.size());
  const auto ground_e = sky_e_ * extras_->foreground->albedo;
  for (int column = 0; column + 1 < columns_; ++column) {
    const int x0 = column * kCell, n = std::min(kCell, static_cast<int>(electrons.size()) - x0);
    const auto corners = [&](float Node::*value, std::size_t layer, float& left, float& slope) {
      left = std::lerp(node(layer, column, line).*value, node(layer, column, line + 1).*value, v);
      slope =
          (std::lerp(node(layer, column + 1, line).*value, node(layer, column + 1, line + 1).*value, v) - left) / kCell;
    };
    float altitude = 0.0F, altitude_slope = 0.0F, azimuth = 0.0F, azimuth_slope = 0.0F;
    corners(&Node::altitude, 0, altitude, altitude_slope);
    const double margin = 0.01 + kSidereal_rad_per_s * exposure_->scene().exposure_s;  // the ground moves meanwhile
    if (std::min(altitude, altitude + kCell * altitude_slope) > high + margin) continue;
    const bool all_ground = std::max(altitude, altitude + kCell * altitude_slope) < low - margin;
    for (int i = 0; i < n; ++i) {
      double hidden = all_ground ? 1.0 : 0.0;
      for (std::size_t layer = 0; !all_ground && layer < layers_.size(); ++layer) {
        corners(&Node::altitude, layer, altitude, altitude_slope);
        corners(&Node::azimuth, layer, azimuth, azimuth_slope);
        const double a = azimuth + azimuth_slope * static_cast<float>(i) + centre_azimuth_;
        if (altitude + altitude_slope * static_cast<float>(i) < skyline_->altitude_rad(a)) hidden += share;
      }
      corners(&Node::altitude, 0, altitude, altitude_slope);
      corners(&Node::azimuth, 0, azimuth, azimuth_slope);
      const double shade = hidden > 0.0 ? skyline_->ground_shade(azimuth + azimuth_slope * static_cast<float>(i),
                                                                 altitude + altitude_slope * static_cast<float>(i))
                                        : 0.0;
      float& e = electrons[static_cast<std::size_t>(x0 + i)];
      e = static_cast<float>(e * (1.0 - hidden) + hidden * ground_e * shade);
    }
  }
}

}  // namespace polewright::simulate
