// Cost over frame size and star count: both should be straight lines.
#include <benchmark/benchmark.h>

#include "polewright/stars.hpp"
#include "scene.hpp"

namespace {

using namespace polewright;
using namespace polewright::test;

void by_pixels(benchmark::State& state) {
  const int height = static_cast<int>(std::lround(std::sqrt(static_cast<double>(state.range(0)) * 1e5 / 1.5)));
  const BenchScene& scene = bench_scene(height * 3 / 2, height, 1000);
  StarOptions options;
  options.threads = 1;
  for (auto _ : state) benchmark::DoNotOptimize(find_stars(scene.frame, options));
  state.counters["ns_per_px"] =
      benchmark::Counter(static_cast<double>(scene.frame.pixels.size()) * 1e-9,
                         benchmark::Counter::kIsIterationInvariantRate | benchmark::Counter::kInvert);
}
BENCHMARK(by_pixels)->Unit(benchmark::kMillisecond)->ArgName("megapixels_x10")->Arg(15)->Arg(60)->Arg(240)->Arg(600);

void by_stars(benchmark::State& state) {
  const BenchScene& scene = bench_scene(6000, 4000, static_cast<int>(state.range(0)));
  StarOptions options;
  options.threads = 1;
  for (auto _ : state) benchmark::DoNotOptimize(find_stars(scene.frame, options));
}
BENCHMARK(by_stars)->Unit(benchmark::kMillisecond)->ArgName("stars")->Arg(10)->Arg(1000)->Arg(10000)->Arg(30000);

}  // namespace
