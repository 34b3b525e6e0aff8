// Time of solve_mount by frames and stars. Targets: 20 frames × 4000 stars under 1 s on two cores, 2 × 1000 under 50
// ms; cost linear in frames × stars (items_per_second steady).
#include <benchmark/benchmark.h>

#include "truth/mount/sessions/session.hpp"

using namespace polewright;
using namespace polewright::test;

namespace {

void solve(benchmark::State& state) {
  const auto frames = static_cast<int>(state.range(0));
  SessionSpec spec;
  spec.axes = {{Angle::arcmin(20.0), Angle::arcmin(-30.0)}};
  spec.pointings = {{Angle::hours(1.0), Angle::deg(40.0), Angle()}};
  spec.periodic_error = Angle::arcsec(10.0);
  for (int i = 0; i < frames; ++i) spec.frames.push_back({60.0 * i + (frames == 2 ? 120.0 * i : 0.0)});
  SessionNoise noise;
  noise.stars = static_cast<int>(state.range(1));
  noise.common_error_px = 0.2;
  std::mt19937_64 random(1);
  const Session session = make_session(spec, noise, random);
  for (auto _ : state) benchmark::DoNotOptimize(solve_mount(session.problem));
  state.SetItemsProcessed(state.iterations() * state.range(0) * state.range(1));
}

}  // namespace

BENCHMARK(solve)
    ->Args({2, 200})
    ->Args({2, 1000})
    ->Args({2, 4000})
    ->Args({10, 1000})
    ->Args({20, 1000})
    ->Args({20, 4000})
    ->Args({40, 4000})
    ->UseRealTime()
    ->MeasureProcessCPUTime()  // CPU column: all threads, so that a busy machine does not blur the figure
    ->Unit(benchmark::kMillisecond);

BENCHMARK_MAIN();
