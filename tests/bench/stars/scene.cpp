#include "scene.hpp"

#include <map>
#include <memory>
#include <tuple>

namespace polewright::test {
namespace {

/// Fast noise: a table of normal deviates read from random places. Its period is far beyond any filter's reach.
void add_noise(const std::vector<double>& electrons, const RenderOptions& o, Frame& f) {
  std::mt19937_64 rng(o.seed);
  std::normal_distribution<float> normal;
  std::vector<float> table(1 << 16);
  for (float& t : table) t = normal(rng);
  for (std::size_t i = 0; i < electrons.size(); ++i) {
    const double sigma = std::sqrt(electrons[i] + o.read_noise_electrons * o.read_noise_electrons);
    const double e = electrons[i] + sigma * static_cast<double>(table[rng() >> 48]);
    f.pixels[i] =
        static_cast<std::uint16_t>(std::clamp(std::round(o.black_adu + o.adu_per_electron * e), 0.0, o.white_adu));
  }
}

std::unique_ptr<BenchScene> make(int width, int height, int stars, bool mosaic) {
  RenderOptions o;
  o.width = width;
  o.height = height;
  o.sky_electrons = 0.0;
  o.adu_per_electron = 2.0;
  if (mosaic) o.mosaic = rggb();
  auto scene = std::make_unique<BenchScene>();
  std::mt19937_64 rng(42);
  std::uniform_real_distribution<double> unit(0.0, 1.0);
  for (int i = 0; i < stars; ++i) {
    RenderedStar s;
    s.x = 8.0 + unit(rng) * (width - 16.0);
    s.y = 8.0 + unit(rng) * (height - 16.0);
    s.sigma_px = 1.2;
    s.electrons = std::min(2e5, 400.0 * std::pow(1.0 - unit(rng), -1.0));  // 2.5 times as many per magnitude
    scene->stars.push_back(s);
  }
  std::sort(scene->stars.begin(), scene->stars.end(),
            [](const RenderedStar& a, const RenderedStar& b) { return a.electrons > b.electrons; });
  std::vector<double> e = expected_electrons(scene->stars, o);
  for (int y = 0; y < height; ++y)
    for (int x = 0; x < width; ++x)
      e[static_cast<std::size_t>(y) * static_cast<std::size_t>(width) + static_cast<std::size_t>(x)] +=
          80.0 + 60.0 * x / width + 40.0 * y / height;
  scene->frame.width = width;
  scene->frame.height = height;
  scene->frame.mosaic = o.mosaic;
  scene->frame.black_level.fill(o.black_adu);
  scene->frame.metadata.camera = "Bench Camera";  // LibRaw refuses a raw file of no make
  scene->frame.pixels.resize(e.size());
  add_noise(e, o, scene->frame);
  return scene;
}

}  // namespace

const BenchScene& bench_scene(int width, int height, int stars, bool mosaic) {
  static std::map<std::tuple<int, int, int, bool>, std::unique_ptr<BenchScene>> kept;
  auto& slot = kept[{width, height, stars, mosaic}];
  if (!slot) slot = make(width, height, stars, mosaic);
  return *slot;
}

}  // namespace polewright::test
