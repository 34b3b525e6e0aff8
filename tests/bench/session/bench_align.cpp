// Two 24-megapixel frames from files to correction: wall time on the machine's threads and peak memory of the process.
// The frames are rendered once in a child process so that the simulator's memory does not count.
#include <benchmark/benchmark.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>

#include "polewright/catalogue.hpp"
#include "polewright/session.hpp"
#include "simulate/simulate.hpp"

using namespace polewright;

namespace {

std::filesystem::path folder() {
  return std::filesystem::temp_directory_path() / "polewright-bench-align";
}

void render_pair() {
  const Catalogue catalogue = Catalogue::open().value();
  simulate::Scene scene;
  scene.first_start = UtcTime::from_calendar({2026, 8, 12, 21, 30, 0.0});
  scene.lens.width_px = 6000;
  scene.lens.height_px = 4000;
  scene.mount.altitude_error = Angle::arcmin(-18);
  scene.mount.azimuth_error = Angle::arcmin(25);
  const auto stars = simulate::stars_from_catalogue(catalogue, scene, 12.0);
  simulate::RenderOptions options;
  options.threads = 2;
  std::filesystem::create_directories(folder());
  for (int i = 0; i < 2; ++i) {
    const auto path = folder() / ("frame" + std::to_string(i) + ".fits");
    if (simulate::write_fits(path, simulate::render_frame(scene, stars, i, options).frame)) std::_Exit(1);
  }
}

void align_24_megapixels(benchmark::State& state) {
  for (auto _ : state) {
    const auto report = align({folder() / "frame0.fits", folder() / "frame1.fits"}, SessionOptions{});
    if (!report || report->outcome != AlignOutcome::solved) state.SkipWithError("not solved");
  }
  rusage usage{};
  getrusage(RUSAGE_SELF, &usage);
  state.counters["peak_MB"] = static_cast<double>(usage.ru_maxrss) / 1024.0;
}
BENCHMARK(align_24_megapixels)->Unit(benchmark::kSecond)->UseRealTime()->Repetitions(5);

}  // namespace

int main(int argc, char** argv) {
  const pid_t child = fork();
  if (child == 0) {
    render_pair();
    std::_Exit(0);
  }
  int status = 0;
  waitpid(child, &status, 0);
  if (status != 0) return 1;
  benchmark::Initialize(&argc, argv);
  benchmark::RunSpecifiedBenchmarks();
  std::filesystem::remove_all(folder());
  return 0;
}
