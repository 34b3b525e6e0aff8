// Which stars a scene can show: from the table, or invented.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "polewright/catalogue.hpp"
#include "simulate/exposure.hpp"
#include "simulate/random.hpp"
#include "simulate/simulate.hpp"

namespace polewright::simulate {
namespace {

struct Cap {
  Vec<Icrs> centre;
  Angle radius;
};

/// One cap per frame; frames that look where an earlier one did add nothing.
std::vector<Cap> caps_of(const Scene& scene) {
  std::vector<Cap> caps;
  for (int i = 0; i < scene.frames; ++i) {
    const Exposure exposure(scene, i);
    const Cap cap{exposure.centre(), exposure.search_radius() + Angle::deg(0.5)};
    const bool known = std::any_of(caps.begin(), caps.end(),
                                   [&](const Cap& c) { return angle_between(c.centre, cap.centre) < Angle::deg(0.4); });
    if (!known) caps.push_back(cap);
  }
  return caps;
}

void brightest_first(std::vector<SkyStar>& stars) {
  std::sort(stars.begin(), stars.end(), [](const SkyStar& a, const SkyStar& b) {
    return a.v_magnitude != b.v_magnitude ? a.v_magnitude < b.v_magnitude : a.id < b.id;
  });
}

}  // namespace

std::vector<SkyStar> stars_from_catalogue(const Catalogue& catalogue, const Scene& scene, double faintest) {
  std::vector<std::uint32_t> indices;
  for (const Cap& cap : caps_of(scene)) {
    const auto found = catalogue.within(cap.centre, cap.radius, faintest);
    indices.insert(indices.end(), found.begin(), found.end());
  }
  std::sort(indices.begin(), indices.end());
  indices.erase(std::unique(indices.begin(), indices.end()), indices.end());
  std::vector<SkyStar> stars;
  stars.reserve(indices.size());
  for (const std::uint32_t i : indices)
    stars.push_back({i, catalogue.direction(i, scene.first_start), catalogue.star(i).v_magnitude});
  brightest_first(stars);
  return stars;
}

std::vector<SkyStar> random_stars(const Scene& scene, double faintest, std::uint64_t seed) {
  // Equal-area cells, each with its own stream, so that the sky does not depend on which part of it is asked for.
  constexpr int kBands = 60, kSectors = 120;
  constexpr double kPerSquareDegreeToV10 = 8.0, kGrowthPerMagnitude = 2.9, kBrightest = -1.5;
  const double square_degrees = 4.0 * std::numbers::pi * std::pow(180.0 / std::numbers::pi, 2) / (kBands * kSectors);
  const double slope = std::log(kGrowthPerMagnitude);
  const double mean = kPerSquareDegreeToV10 * square_degrees * std::exp(slope * (faintest - 10.0));
  const auto caps = caps_of(scene);

  std::vector<SkyStar> stars;
  for (int cell = 0; cell < kBands * kSectors; ++cell) {
    const double z_low = -1.0 + 2.0 * (cell / kSectors) / kBands, ra_low = 360.0 * (cell % kSectors) / kSectors;
    const auto direction = [&](double u, double v) {
      const double z = z_low + 2.0 * u / kBands;
      return icrs_from_equatorial(Angle::deg(ra_low + 360.0 * v / kSectors), Angle::rad(std::asin(z)));
    };
    const bool wanted = std::any_of(caps.begin(), caps.end(), [&](const Cap& c) {
      return angle_between(c.centre, direction(0.5, 0.5)) < c.radius + Angle::deg(13.0);  // polar cells are 15° tall
    });
    if (!wanted) continue;
    Random random(seed, static_cast<std::uint64_t>(cell));
    const int n = static_cast<int>(random.poisson(mean));
    for (int i = 0; i < n; ++i) {
      const double u = random.uniform(), v = random.uniform();
      const double magnitude = std::max(kBrightest, faintest + std::log(random.uniform()) / slope);
      stars.push_back(
          {static_cast<std::uint32_t>(cell) * 4096U + static_cast<std::uint32_t>(i), direction(u, v), magnitude});
    }
  }
  brightest_first(stars);
  return stars;
}

}  // namespace polewright::simulate
