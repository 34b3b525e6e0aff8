// Peer of the cone search: looking at every star of the table in the same run.
#include <benchmark/benchmark.h>

#include "polewright/catalogue.hpp"

using namespace polewright;

static void open_table(benchmark::State& state) {
  for (auto _ : state) benchmark::DoNotOptimize(Catalogue::open());
}
BENCHMARK(open_table)->Unit(benchmark::kMillisecond);

static void cone_search(benchmark::State& state) {
  const auto catalogue = Catalogue::open().value();
  const Angle radius = Angle::deg(static_cast<double>(state.range(0)));
  double ra = 0.0;
  for (auto _ : state) {
    ra += 77.0;
    benchmark::DoNotOptimize(catalogue.within(icrs_from_equatorial(Angle::deg(ra), Angle::deg(30)), radius, 9.0));
  }
}
BENCHMARK(cone_search)->Arg(2)->Arg(20)->Unit(benchmark::kMicrosecond);

static void every_star(benchmark::State& state) {
  const auto catalogue = Catalogue::open().value();
  const Vec<Icrs> centre = icrs_from_equatorial(Angle::deg(77), Angle::deg(30));
  for (auto _ : state) {
    std::size_t found = 0;
    for (std::uint32_t i = 0; i < catalogue.size(); ++i) {
      const CatalogueStar s = catalogue.star(i);
      found += s.v_magnitude <= 9.0 && s.direction.dot(centre) > 0.99939;  // cos 2°
    }
    benchmark::DoNotOptimize(found);
  }
}
BENCHMARK(every_star)->Unit(benchmark::kMicrosecond);

BENCHMARK_MAIN();
