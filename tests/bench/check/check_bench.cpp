// Reading and measuring a 24-megapixel frame on one thread, beside the bare library decoding the same file on one
// thread. The ratio "over_decode", from the same run, is the figure; files are in the page cache. Also the second run,
// from the cache of measured frames, and the peak of memory.
#include <benchmark/benchmark.h>
#include <fitsio.h>
#include <libraw/libraw.h>
#include <sys/resource.h>

#include <filesystem>
#include <memory>

#include "base/thread_clock.hpp"
#include "polewright/catalogue.hpp"
#include "session/night_cache.hpp"
#include "session/night_record.hpp"
#include "simulate/simulate.hpp"

namespace {

using namespace polewright;
namespace fs = std::filesystem;

const fs::path& folder() {
  static const fs::path made = [] {
    const fs::path out = fs::temp_directory_path() / "polewright-bench-check";
    fs::create_directories(out);
    if (fs::exists(out / "plain.fits")) return out;
    simulate::Scene scene;
    scene.first_start = UtcTime::from_calendar({2026, 10, 9, 20, 15, 0.0});
    scene.exposure_s = 60.0;
    scene.lens.width_px = 6000;
    scene.lens.height_px = 4000;
    const auto catalogue = Catalogue::open();
    const auto stars = simulate::stars_from_catalogue(*catalogue, scene, 10.5);
    const auto few = simulate::stars_from_catalogue(*catalogue, scene, 7.0);
    simulate::RenderOptions options;
    options.detector.mosaic.colour = {FilterColour::red, FilterColour::green, FilterColour::green, FilterColour::blue};
    const auto colour = simulate::render_frame(scene, stars, 0, options);
    (void)simulate::write_dng(out / "lossless.dng", colour.frame, {0, true, true});
    options.detector.mosaic = {};
    const auto mono = simulate::render_frame(scene, stars, 0, options);
    (void)simulate::write_fits(out / "rice.fits.fz", mono.frame, simulate::FitsCompression::rice);
    (void)simulate::write_fits(out / "few_stars.fits.fz", simulate::render_frame(scene, few, 0, options).frame,
                               simulate::FitsCompression::rice);
    (void)simulate::write_fits(out / "plain.fits", mono.frame);
    return out;
  }();
  return made;
}

void decode_raw(const fs::path& file) {
  const auto raw = std::make_unique<LibRaw>();
  raw->open_file(file.c_str());
  raw->unpack();
  benchmark::DoNotOptimize(raw->imgdata.rawdata.raw_image);
}

void decode_fits(const fs::path& file) {
  fitsfile* fits = nullptr;
  int status = 0, any = 0;
  ::fits_open_image(&fits, file.c_str(), READONLY, &status);
  long size[2] = {0, 0};
  ::fits_get_img_size(fits, 2, size, &status);
  std::vector<std::uint16_t> pixels(static_cast<std::size_t>(size[0] * size[1]));
  ::fits_read_img(fits, TUSHORT, 1, size[0] * size[1], nullptr, pixels.data(), &any, &status);
  ::fits_close_file(fits, &status);
  benchmark::DoNotOptimize(pixels.data());
}

/// Decode and measurement in turn, so that both see the same machine; processor time, because the wall clock of a
/// shared one says more about its other users.
void measure_beside(benchmark::State& state, const char* name, void (*decode)(const fs::path&)) {
  const fs::path file = folder() / name;
  double bare = 0.0, whole = 0.0;
  std::vector<std::uint16_t> memory;
  for (auto _ : state) {
    const double t0 = thread_seconds();
    decode(file);
    const double t1 = thread_seconds();
    const auto record = session::measure_frame(file, {}, &memory);
    const double t2 = thread_seconds();
    if (!record.ok()) return state.SkipWithError("not read");
    bare += t1 - t0;
    whole += t2 - t1;
    state.SetIterationTime(t2 - t1);
  }
  state.counters["over_decode"] = whole / bare;
  state.counters["frames_per_s"] = static_cast<double>(state.iterations()) / whole;
}
BENCHMARK_CAPTURE(measure_beside, lossless_raw, "lossless.dng", decode_raw)
    ->UseManualTime()
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(measure_beside, rice_fits, "rice.fits.fz", decode_fits)
    ->UseManualTime()
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(measure_beside, rice_fits_few_stars, "few_stars.fits.fz", decode_fits)
    ->UseManualTime()
    ->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(measure_beside, plain_fits, "plain.fits", decode_fits)
    ->UseManualTime()
    ->Unit(benchmark::kMillisecond);

void remembered(benchmark::State& state) {
  const fs::path file = folder() / "plain.fits", cache_file = folder() / "bench.sqlite";
  session::NightCache cache(cache_file);
  cache.keep(file, *session::measure_frame(file));
  for (auto _ : state) {
    const auto record = cache.find(file);
    if (!record) return state.SkipWithError("not remembered");
    benchmark::DoNotOptimize(record->stars.data());
  }
  rusage usage{};
  ::getrusage(RUSAGE_SELF, &usage);
  state.counters["peak_mb"] = static_cast<double>(usage.ru_maxrss) / 1024.0;
}
BENCHMARK(remembered)->Unit(benchmark::kMicrosecond);

}  // namespace

BENCHMARK_MAIN();
