#include "truth/identify/synthetic_field.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "polewright/sky.hpp"

namespace polewright::test {
namespace {

using Random = std::mt19937_64;

double uniform(Random& random, double low, double high) {
  return std::uniform_real_distribution(low, high)(random);
}
double gauss(Random& random) {
  return std::normal_distribution<double>()(random);
}

Vec<Enu> random_direction_above(Random& random, double lowest_altitude_deg) {
  const double sine = uniform(random, std::sin(Angle::deg(lowest_altitude_deg).rad()), 1.0);
  return enu_from_horizontal(Angle::deg(uniform(random, 0, 360)), Angle::rad(std::asin(sine)));
}

/// Camera that looks at `at`, turned by `roll` from level.
Rotation<Camera, Enu> looking_at(Vec<Enu> at, Angle roll) {
  const Vec<Enu> helper = std::abs(at.z) < 0.999 ? Vec<Enu>{0, 0, 1} : Vec<Enu>{1, 0, 0};
  const Vec<Enu> right = at.cross(helper).unit(), down = at.cross(right);
  const Rotation<Camera, Enu> level{{right.x, right.y, right.z, down.x, down.y, down.z, at.x, at.y, at.z}};
  return rotation_about(Vec<Camera>{0, 0, 1}, roll) * level;
}

/// Stars per square degree brighter than V over the mean sky (Allen's Astrophysical Quantities, fitted, from memory).
double stars_per_square_degree(double v) {
  return std::pow(10.0, 0.49 * v + 0.75) / 41253.0;
}

struct Patch {
  PixelPoint centre;
  double radius_px;
};

/// Half plane of the frame that covers about the share asked for, and round clouds.
class Cover {
 public:
  Cover(const Scene& scene, const Spoilers& spoilers, Random& random) {
    const double angle = uniform(random, 0, 2 * std::numbers::pi);
    normal_ = {std::cos(angle), std::sin(angle)};
    std::vector<double> depth;
    for (int i = 0; i < 400; ++i)
      depth.push_back(normal_.x * uniform(random, 0, scene.width_px) + normal_.y * uniform(random, 0, scene.height_px));
    std::sort(depth.begin(), depth.end());
    limit_ = spoilers.foreground > 0.0 ? depth[static_cast<std::size_t>(399 * (1.0 - spoilers.foreground))] : 1e9;
    const double area = static_cast<double>(scene.width_px) * scene.height_px;
    for (double covered = 0.0; covered < spoilers.cloud * area;) {
      const double radius = uniform(random, 0.05, 0.3) * scene.width_px;
      clouds_.push_back({{uniform(random, 0, scene.width_px), uniform(random, 0, scene.height_px)}, radius});
      covered += std::numbers::pi * radius * radius;
    }
  }
  [[nodiscard]] bool foreground(PixelPoint p) const { return normal_.x * p.x + normal_.y * p.y > limit_; }
  [[nodiscard]] bool hides(PixelPoint p) const {
    return foreground(p) || std::any_of(clouds_.begin(), clouds_.end(), [&](const Patch& c) {
             return std::hypot(p.x - c.centre.x, p.y - c.centre.y) < c.radius_px;
           });
  }

 private:
  PixelPoint normal_;
  double limit_ = 1e9;
  std::vector<Patch> clouds_;
};

/// Collects detections; sorts them as find_stars does.
class Exposure {
 public:
  Exposure(const Scene& scene, const Spoilers& spoilers, Random& random)
      : scene_(scene), spoilers_(spoilers), random_(random), trail_angle_(uniform(random, 0, std::numbers::pi)) {}

  void add(PixelPoint place, double magnitude, std::uint32_t truth) {
    const double snr = 5.0 * std::pow(10.0, 0.4 * (scene_.limiting_magnitude - magnitude));
    Star s;
    const double sigma = spoilers_.centroid_px >= 0.0 ? spoilers_.centroid_px : 0.03 + 0.8 / std::max(snr, 3.0);
    const double along = spoilers_.trail_px * 0.05 * gauss(random_);
    s.position = {place.x + sigma * gauss(random_) + along * std::cos(trail_angle_),
                  place.y + sigma * gauss(random_) + along * std::sin(trail_angle_)};
    const double variance = sigma * sigma;
    s.position_cov = {variance, 0.0, variance};
    s.flux = std::pow(10.0, 0.4 * (25.0 - magnitude));
    s.flux_sigma = s.flux / snr;
    s.snr = snr;
    if (s.position.x < 0 || s.position.y < 0 || s.position.x > scene_.width_px - 1 ||
        s.position.y > scene_.height_px - 1)
      return;
    all_.emplace_back(s, truth);
  }
  [[nodiscard]] std::size_t size() const { return all_.size(); }
  [[nodiscard]] PixelPoint anywhere() {
    return {uniform(random_, 0, scene_.width_px - 1.0), uniform(random_, 0, scene_.height_px - 1.0)};
  }

  void store(SyntheticField& field) {
    std::stable_sort(all_.begin(), all_.end(),
                     [](const auto& a, const auto& b) { return a.first.flux > b.first.flux; });
    field.stars.width = scene_.width_px;
    field.stars.height = scene_.height_px;
    for (const auto& [star, truth] : all_) {
      field.stars.stars.push_back(star);
      field.truth.push_back(truth);
      field.catalogue_stars += truth != kNotInCatalogue ? 1 : 0;
    }
  }

 private:
  const Scene& scene_;
  const Spoilers& spoilers_;
  Random& random_;
  double trail_angle_;
  std::vector<std::pair<Star, std::uint32_t>> all_;
};

void add_catalogue_stars(Exposure& exposure, const Catalogue& catalogue, const Scene& scene, const Spoilers& spoilers,
                         const Cover& cover, Random& random) {
  const SkyAt sky(scene.time, scene.site, Weather{});
  const PixelPoint middle{0.5 * (scene.width_px - 1), 0.5 * (scene.height_px - 1)};
  const auto axis = *scene.lens.unproject(middle);
  double radius_deg = 0.0;
  for (const double x : {0.0, 1.0})
    for (const double y : {0.0, 1.0}) {
      const auto corner = scene.lens.unproject({x * scene.width_px, y * scene.height_px});
      radius_deg = std::max(radius_deg, corner ? angle_between(*corner, axis).deg() : 100.0);
    }
  const Vec<Icrs> centre = sky.icrs(scene.camera_from_enu.inverse() * axis);
  for (const std::uint32_t i :
       catalogue.within(centre, Angle::deg(1.05 * radius_deg + 1.0), scene.limiting_magnitude + 1.0)) {
    const double magnitude = catalogue.star(i).v_magnitude + spoilers.band_magnitudes * gauss(random);
    const bool moves = spoilers.fast_stars && uniform(random, 0, 1) < 0.01;
    Vec<Icrs> d = catalogue.direction(i, scene.time);
    if (moves) {  // up to 1″ a year for a quarter of a century
      const double step = Angle::arcsec(26.0 * uniform(random, 0.2, 1.0)).rad();
      d = (d + Vec<Icrs>{gauss(random), gauss(random), gauss(random)} * (step / 1.7)).unit();
    }
    const Vec<Enu> seen = sky.observed(d);
    const bool lost = uniform(random, 0, 1) < spoilers.missing;
    if (magnitude > scene.limiting_magnitude || altitude_of(seen) < Angle::deg(1.0) || lost) continue;
    const auto p = scene.lens.project(scene.camera_from_enu * seen);
    if (p && !cover.hides(*p)) exposure.add(*p, magnitude, i);
  }
}

/// Stars fainter than the table holds, as many as the sky has down to the limit.
void add_faint_stars(Exposure& exposure, const Scene& scene, const Cover& cover, Random& random) {
  const double scale_deg = scene.lens.scale_per_px().deg();
  const double area = std::min(20000.0, scale_deg * scale_deg * scene.width_px * scene.height_px);
  const double expected = area * stars_per_square_degree(scene.limiting_magnitude);
  for (std::size_t tries = 0; static_cast<double>(exposure.size()) < std::min(expected, 4000.0) && tries < 8000;
       ++tries) {
    // Counts grow by 10^0.49 a magnitude; brighter than 9.5 the table is nearly complete.
    const double magnitude = scene.limiting_magnitude + std::log10(uniform(random, 1e-4, 1.0)) / 0.49;
    const PixelPoint p = exposure.anywhere();
    if (magnitude > 9.5 && !cover.hides(p)) exposure.add(p, magnitude, kNotInCatalogue);
  }
}

void add_spurious(Exposure& exposure, const Scene& scene, const Spoilers& spoilers, const Cover& cover,
                  Random& random) {
  const auto real = static_cast<double>(exposure.size());
  const auto count = static_cast<int>(real * spoilers.spurious / (1.0 - spoilers.spurious));
  for (int i = 0; i < count; ++i) {
    // As many at each brightness as there are stars; one in ten from a flat distribution reaching far above.
    const double above = i % 10 == 0 ? std::abs(3.0 * gauss(random)) : -std::log10(uniform(random, 1e-4, 1.0)) / 0.49;
    exposure.add(exposure.anywhere(), scene.limiting_magnitude - above, kNotInCatalogue);
  }
  if (spoilers.foreground <= 0.0) return;
  for (int i = 0; i < 60; ++i)
    if (const PixelPoint p = exposure.anywhere(); cover.foreground(p))
      exposure.add(p, scene.limiting_magnitude - uniform(random, 2.0, 9.0), kNotInCatalogue);
}

}  // namespace

Scene random_scene(Random& random, double shortest_mm, double longest_mm) {
  Scene scene;
  const bool full_frame = uniform(random, 0, 1) < 0.5;
  const double pitch_um = full_frame ? 6.0 : 3.9;
  const double focal_mm = shortest_mm * std::pow(longest_mm / shortest_mm, uniform(random, 0, 1));
  scene.lens = centred_lens(Projection::rectilinear, focal_mm / pitch_um * 1e3, scene.width_px, scene.height_px);
  const double corner = std::hypot(scene.width_px, scene.height_px) * 0.5 / scene.lens.focal_px;
  // Distortion of up to 3 % at the corner, barrel more often, its second term a third of that.
  const double bend = std::clamp(-0.008 + 0.01 * gauss(random), -0.03, 0.03);
  scene.lens.k1 = bend / (corner * corner);
  scene.lens.k2 = uniform(random, -0.3, 0.3) * bend / std::pow(corner, 4);
  scene.lens.principal_point.x += 0.003 * scene.width_px * gauss(random);
  scene.lens.principal_point.y += 0.003 * scene.width_px * gauss(random);
  scene.lens.mirrored = uniform(random, 0, 1) < 0.5;
  scene.time = UtcTime::from_calendar({2010, 1, 1, 0, 0, 0.0}).plus_seconds(uniform(random, 0, 20 * 365.25 * 86400.0));
  scene.site = {Angle::deg(uniform(random, -55, 68)), Angle::deg(uniform(random, -180, 180)), uniform(random, 0, 3000)};
  const double half_field_deg = Angle::rad(std::atan(corner)).deg();
  const Vec<Enu> at = random_direction_above(random, std::min(60.0, 15.0 + 0.5 * half_field_deg));
  scene.camera_from_enu = looking_at(at, Angle::deg(uniform(random, 0, 360)));
  // Aperture from the focal length and a usual f-number; from a town (−2.2) to a mountain (+0.5).
  const double aperture_mm = focal_mm / std::clamp(2.0 + focal_mm / 100.0, 2.0, 5.6);
  scene.limiting_magnitude = std::min(13.5, 7.2 + 4.5 * std::log10(aperture_mm / 4.0) + uniform(random, -2.2, 0.5));
  return scene;
}

Spoilers random_spoilers(Random& random) {
  Spoilers s;
  const auto sometimes = [&](double how_often, double most) {
    return uniform(random, 0, 1) < how_often ? uniform(random, 0, most) : 0.0;
  };
  s.missing = sometimes(0.5, 0.5);
  s.spurious = sometimes(0.5, 0.6);
  s.foreground = sometimes(0.4, 0.45);
  s.cloud = sometimes(0.3, 0.5);
  s.trail_px = sometimes(0.3, 12.0);
  return s;
}

SyntheticField synthetic_field(const Catalogue& catalogue, const Scene& scene, const Spoilers& spoilers,
                               Random& random) {
  SyntheticField field;
  field.scene = scene;
  const Cover cover(scene, spoilers, random);
  Exposure exposure(field.scene, spoilers, random);
  add_catalogue_stars(exposure, catalogue, scene, spoilers, cover, random);
  if (spoilers.planets) {
    const SkyAt sky(scene.time, scene.site, Weather{});
    for (const Body& body : bodies_at(scene.time, scene.site)) {
      const Vec<Enu> seen = sky.observed(body.direction);
      const auto p = scene.lens.project(scene.camera_from_enu * seen);
      if (body.kind != BodyKind::sun && p && altitude_of(seen) > Angle() && !cover.hides(*p))
        exposure.add(*p, body.magnitude, kNotInCatalogue);
    }
  }
  add_faint_stars(exposure, scene, cover, random);
  add_spurious(exposure, scene, spoilers, cover, random);
  exposure.store(field);
  return field;
}

std::optional<Vec<Icrs>> true_direction(const Scene& scene, PixelPoint pixel) {
  const auto c = scene.lens.unproject(pixel);
  if (!c) return {};
  return SkyAt(scene.time, scene.site, Weather{}).icrs(scene.camera_from_enu.inverse() * *c);
}

Verdict judge(const SyntheticField& field, const IdentifyResult& result) {
  Verdict v;
  v.identified = result.outcome == IdentifyOutcome::identified;
  if (!v.identified) return v;
  const Identification& id = *result.identification;
  int right = 0, stars = 0;
  for (const StarMatch& m : id.matches) {
    if (m.catalogue == kNotInCatalogue) continue;
    ++stars;
    right += field.truth[m.star] == m.catalogue ? 1 : 0;
  }
  v.right_share = stars > 0 ? static_cast<double>(right) / stars : 0.0;
  v.wrong = v.right_share < 0.8;
  const PixelPoint centre{0.5 * (field.scene.width_px - 1), 0.5 * (field.scene.height_px - 1)};
  const auto truth = true_direction(field.scene, centre);
  const auto seen = id.lens.unproject(centre);
  v.centre_error_px =
      truth && seen ? angle_between(id.camera_from_icrs.inverse() * *seen, *truth).rad() * id.lens.focal_px : 1e9;
  return v;
}

}  // namespace polewright::test
