#include "stars/neighbours.hpp"

#include <algorithm>
#include <cmath>

namespace polewright {

std::vector<std::vector<std::uint32_t>> neighbours_within(const std::vector<Star>& stars, double reach_px) {
  // Sorted by row band, then x: a star's neighbours are a short run in its own and the two adjoining bands.
  struct Place {
    int band;
    double x;
    std::uint32_t star;
  };
  const auto band_of = [&](double y) { return static_cast<int>(std::floor(y / reach_px)); };
  std::vector<Place> places;
  places.reserve(stars.size());
  for (std::size_t i = 0; i < stars.size(); ++i)
    places.push_back({band_of(stars[i].position.y), stars[i].position.x, static_cast<std::uint32_t>(i)});
  const auto before = [](const Place& a, const Place& b) { return a.band != b.band ? a.band < b.band : a.x < b.x; };
  std::sort(places.begin(), places.end(), before);
  std::vector<std::vector<std::uint32_t>> out(stars.size());
  for (std::size_t i = 0; i < stars.size(); ++i) {
    const PixelPoint p = stars[i].position;
    for (int band = band_of(p.y) - 1; band <= band_of(p.y) + 1; ++band) {
      auto it = std::lower_bound(places.begin(), places.end(), Place{band, p.x - reach_px, 0}, before);
      for (; it != places.end() && it->band == band && it->x <= p.x + reach_px; ++it) {
        if (it->star == i) continue;
        const PixelPoint q = stars[it->star].position;
        if (std::hypot(p.x - q.x, p.y - q.y) < reach_px) out[i].push_back(it->star);
      }
    }
  }
  return out;
}

}  // namespace polewright
