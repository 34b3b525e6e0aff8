// The star stage beside a reference library (SEP) and beside the decoding of the frame (LibRaw), on the same
// 24-megapixel frames in one run and on one thread.
#include <benchmark/benchmark.h>
#include <libraw/libraw.h>
extern "C" {
#include <sep.h>
}

#include <cmath>
#include <filesystem>

#include "polewright/stars.hpp"
#include "scene.hpp"
#include "simulate/simulate.hpp"

namespace {

using namespace polewright;
using namespace polewright::test;

constexpr int kWidth = 6000, kHeight = 4000, kStars = 5000;

struct Place {
  double x, y;
};

/// Completeness above 8σ, false detections per megapixel, and rms centroid error of the 1000 brightest.
void score(benchmark::State& state, const BenchScene& scene, const std::vector<Place>& found) {
  constexpr int kCell = 8;
  const int nx = scene.frame.width / kCell + 1, ny = scene.frame.height / kCell + 1;
  std::vector<std::vector<std::size_t>> grid(static_cast<std::size_t>(nx) * static_cast<std::size_t>(ny));
  for (std::size_t i = 0; i < found.size(); ++i)
    grid[static_cast<std::size_t>(static_cast<int>(found[i].y / kCell) * nx + static_cast<int>(found[i].x / kCell))]
        .push_back(i);
  std::vector<bool> used(found.size(), false);
  int wanted = 0, seen = 0;
  double square = 0.0;
  int measured = 0;
  for (std::size_t t = 0; t < scene.stars.size(); ++t) {
    const RenderedStar& s = scene.stars[t];
    double best = 1.5;
    std::size_t which = found.size();
    const int cx = static_cast<int>(s.x / kCell), cy = static_cast<int>(s.y / kCell);
    for (int y = std::max(0, cy - 1); y <= std::min(ny - 1, cy + 1); ++y)
      for (int x = std::max(0, cx - 1); x <= std::min(nx - 1, cx + 1); ++x)
        for (const std::size_t i : grid[static_cast<std::size_t>(y * nx + x)]) {
          const double d = std::hypot(found[i].x - s.x, found[i].y - s.y);
          if (d < best) best = d, which = i;
        }
    const bool hit = which < found.size();
    if (hit) used[which] = true;
    const double sky = 80.0 + 60.0 * s.x / kWidth + 40.0 * s.y / kHeight + 9.0;
    const double snr = s.electrons / std::sqrt(sky * 4.0 * 3.14159265 * (1.44 + 1.0 / 12.0));
    if (snr > 8.0) ++wanted, seen += hit ? 1 : 0;
    if (hit && t < 1000) square += best * best, ++measured;
  }
  int wrong = 0;
  for (const bool u : used) wrong += u ? 0 : 1;
  state.counters["found"] = static_cast<double>(found.size());
  state.counters["complete_8sigma"] = wanted > 0 ? static_cast<double>(seen) / wanted : 0.0;
  state.counters["false_per_Mpx"] = wrong / (scene.frame.width * 1e-6 * scene.frame.height);
  state.counters["rms_px"] = measured > 0 ? std::sqrt(square / measured / 2.0) : 0.0;
}

void find_without_fit(benchmark::State& state) {
  const BenchScene& scene = bench_scene(kWidth, kHeight, kStars);
  StarOptions options;
  options.threads = 1;
  options.max_fitted = options.max_saturated_fitted = 0;
  StarList list;
  for (auto _ : state) list = find_stars(scene.frame, options).value();
  std::vector<Place> found;
  for (const Star& s : list.stars) found.push_back({s.position.x, s.position.y});
  score(state, scene, found);
}
BENCHMARK(find_without_fit)->Unit(benchmark::kMillisecond);

void find_with_fit(benchmark::State& state) {
  const BenchScene& scene = bench_scene(kWidth, kHeight, kStars, state.range(0) != 0);
  StarOptions options;
  options.threads = static_cast<int>(state.range(1));
  StarList list;
  for (auto _ : state) list = find_stars(scene.frame, options).value();
  std::vector<Place> found;
  for (const Star& s : list.stars) found.push_back({s.position.x, s.position.y});
  score(state, scene, found);
}
BENCHMARK(find_with_fit)
    ->Unit(benchmark::kMillisecond)
    ->UseRealTime()
    ->ArgNames({"mosaic", "threads"})
    ->Args({0, 1})
    ->Args({1, 1})
    ->Args({0, 0})
    ->Args({1, 0});

/// SEP's customary sequence: float copy, background map, subtraction, extraction with a matched kernel, windowed
/// centroids. `range(0)`: 1 reports the windowed centroids, 0 the isophotal ones (the time is the whole either way).
void reference_library(benchmark::State& state) {
  const BenchScene& scene = bench_scene(kWidth, kHeight, kStars);
  std::vector<float> kernel;
  for (int y = -3; y <= 3; ++y)
    for (int x = -3; x <= 3; ++x) kernel.push_back(static_cast<float>(std::exp(-0.5 * (x * x + y * y) / 1.523)));
  sep_set_extract_pixstack(10000000);
  std::vector<Place> found;
  for (auto _ : state) {
    std::vector<float> data(scene.frame.pixels.begin(), scene.frame.pixels.end());
    sep_image image{};
    image.data = data.data();
    image.dtype = SEP_TFLOAT;
    image.w = kWidth;
    image.h = kHeight;
    sep_bkg* sky = nullptr;
    sep_background(&image, 64, 64, 3, 3, 0.0, &sky);
    sep_bkg_subarray(sky, data.data(), SEP_TFLOAT);
    image.noiseval = static_cast<double>(sep_bkg_globalrms(sky));
    image.noise_type = SEP_NOISE_STDDEV;
    image.ndtype = SEP_TFLOAT;
    sep_catalog* stars = nullptr;
    // An absolute threshold on the convolved frame that stands for 5σ of the matched filter (kernel normalised to 1).
    double sum = 0.0, energy = 0.0;
    for (const float k : kernel) sum += static_cast<double>(k), energy += static_cast<double>(k * k);
    const double threshold = 5.0 * image.noiseval * std::sqrt(energy) / sum;
    sep_extract(&image, static_cast<float>(threshold), SEP_THRESH_ABS, 1, kernel.data(), 7, 7, SEP_FILTER_CONV, 32,
                0.005, 1, 1.0, &stars);
    found.clear();
    for (int i = 0; i < stars->nobj; ++i) {
      double x = stars->x[i], y = stars->y[i];
      short flag = 0;
      double wx = x, wy = y;
      int rounds = 0;
      sep_windowed(&image, x, y, 1.234, 5, 0, &wx, &wy, &rounds, &flag);
      found.push_back(state.range(0) ? Place{wx, wy} : Place{x, y});
    }
    sep_catalog_free(stars);
    sep_bkg_free(sky);
  }
  std::vector<Place> inside;
  for (const Place& p : found)
    if (p.x >= 0 && p.y >= 0 && p.x < kWidth && p.y < kHeight) inside.push_back(p);
  score(state, scene, inside);
}
BENCHMARK(reference_library)->Unit(benchmark::kMillisecond)->ArgName("windowed")->Arg(1)->Arg(0);

/// Opening and unpacking a raw file of the same size: what the star stage has to stay below.
void raw_decoding(benchmark::State& state) {
  const BenchScene& scene = bench_scene(kWidth, kHeight, kStars, true);
  const auto path = std::filesystem::temp_directory_path() / "polewright_bench.dng";
  simulate::DngOptions dng;
  dng.lossless_jpeg = state.range(0) != 0;
  if (simulate::write_dng(path, scene.frame, dng)) return state.SkipWithError("cannot write the raw file");
  for (auto _ : state) {
    LibRaw raw;
    if (raw.open_file(path.c_str()) != LIBRAW_SUCCESS || raw.unpack() != LIBRAW_SUCCESS)
      return state.SkipWithError("LibRaw refuses the file");
    benchmark::DoNotOptimize(raw.imgdata.rawdata.raw_image);
  }
  std::filesystem::remove(path);
}
BENCHMARK(raw_decoding)->Unit(benchmark::kMillisecond)->UseRealTime()->ArgName("lossless_jpeg")->Arg(1)->Arg(0);

}  // namespace
