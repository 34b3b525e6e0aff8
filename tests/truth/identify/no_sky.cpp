#include "truth/identify/no_sky.hpp"

#include <algorithm>
#include <cmath>

#include "truth/identify/synthetic_field.hpp"

namespace polewright::test {
namespace {

using Random = std::mt19937_64;
constexpr int kWidth = 6000, kHeight = 4000;

double uniform(Random& random, double low, double high) {
  return std::uniform_real_distribution(low, high)(random);
}

void add(StarList& list, double x, double y, double flux) {
  if (x < 0 || y < 0 || x > kWidth - 1 || y > kHeight - 1) return;
  Star s;
  s.position = {x, y};
  s.position_cov = {0.01, 0.0, 0.01};
  s.flux = flux;
  list.stars.push_back(s);
}

void add_noise(StarList& list, Random& random) {
  const int count = static_cast<int>(15.0 * std::pow(80.0, uniform(random, 0, 1)));
  for (int i = 0; i < count; ++i)
    add(list, uniform(random, 0, kWidth), uniform(random, 0, kHeight), std::pow(uniform(random, 1e-4, 1.0), -0.8));
}

void add_city(StarList& list, Random& random) {
  const int houses = static_cast<int>(uniform(random, 2, 12));
  for (int h = 0; h < houses; ++h) {  // windows: a lattice seen at an angle
    const double x0 = uniform(random, 0, kWidth), y0 = uniform(random, 0, kHeight);
    const double step = uniform(random, 15, 200), lean = uniform(random, -0.3, 0.3),
                 shrink = uniform(random, 0.95, 1.05);
    const int columns = static_cast<int>(uniform(random, 2, 12)), rows = static_cast<int>(uniform(random, 2, 15));
    for (int r = 0; r < rows; ++r)
      for (int c = 0; c < columns; ++c)
        if (uniform(random, 0, 1) < 0.7)
          add(list, x0 + step * c * std::pow(shrink, r) + lean * step * r, y0 + 1.4 * step * r + lean * step * c,
              uniform(random, 1.0, 3.0));
  }
  for (int lamp = 0; lamp < 40; ++lamp)  // a road: lamps closing up towards the horizon
    add(list, 3000 + 2500 * std::exp(-0.1 * lamp), 2000 + 1800 * std::exp(-0.1 * lamp), 10.0 * std::exp(-0.2 * lamp));
  const double cx = uniform(random, 0, kWidth), cy = uniform(random, 0, kHeight);
  for (int i = 0; i < 60; ++i)  // a town in the distance
    add(list, cx + std::normal_distribution(0.0, 150.0)(random), cy + std::normal_distribution(0.0, 20.0)(random), 1.0);
}

StarList sorted(StarList list) {
  std::stable_sort(list.stars.begin(), list.stars.end(), [](const Star& a, const Star& b) { return a.flux > b.flux; });
  return list;
}

}  // namespace

StarList no_sky(const Catalogue& catalogue, NoSky kind, Random& random) {
  StarList list;
  list.width = kWidth;
  list.height = kHeight;
  if (kind == NoSky::noise) {
    add_noise(list, random);
    return sorted(std::move(list));
  }
  if (kind == NoSky::city_lights) {
    add_city(list, random);
    return sorted(std::move(list));
  }
  const Scene scene = random_scene(random);
  const StarList sky = synthetic_field(catalogue, scene, Spoilers{}, random).stars;
  std::vector<double> y;
  for (const Star& s : sky.stars) y.push_back(s.position.y);
  if (kind == NoSky::shuffled) std::shuffle(y.begin(), y.end(), random);
  for (std::size_t i = 0; i < sky.stars.size(); ++i) {
    const double stretched =
        kind == NoSky::distorted_sky ? 3000.0 + 1.6 * (sky.stars[i].position.x - 3000.0) : sky.stars[i].position.x;
    add(list, stretched, y[i], sky.stars[i].flux);
  }
  return sorted(std::move(list));
}

}  // namespace polewright::test
