// read_frame() of a 24-megapixel file against the bare library reading the same file. The ratio of the two times, from
// the same run, is the figure; files are in the page cache.
#include <benchmark/benchmark.h>
#include <fitsio.h>
#include <libraw/libraw.h>

#include <memory>
#include <random>

#include "polewright/frame.hpp"
#include "unit/frame/scratch.hpp"
#include "unit/frame/writers/dng_file.hpp"
#include "unit/frame/writers/fits_file.hpp"

namespace {

using namespace polewright;
using namespace polewright::test;

constexpr int kWidth = 6000, kHeight = 4000;

std::vector<std::uint16_t> noisy_sky() {
  std::mt19937 random(1);
  std::vector<std::uint16_t> samples(static_cast<std::size_t>(kWidth) * kHeight);
  for (auto& v : samples) v = static_cast<std::uint16_t>(1000 + (random() & 255));
  return samples;
}

const Scratch& files() {
  static const Scratch scratch;
  static const bool written = [] {
    DngFile dng;
    dng.width = kWidth;
    dng.height = kHeight;
    dng.samples = noisy_sky();
    dng.black = {512, 512, 512, 512};
    dng.white = 16383;
    dng.date_time_original = "2026:08:12 22:01:07";
    write_dng(scratch / "frame.dng", dng);
    FitsFile fits;
    fits.width = kWidth;
    fits.height = kHeight;
    fits.bzero = 32768;
    fits.physical.assign(dng.samples.begin(), dng.samples.end());
    write_fits(scratch / "frame.fits", fits);
    return true;
  }();
  benchmark::DoNotOptimize(written);
  return scratch;
}

void read_frame_of(benchmark::State& state, const char* name) {
  const auto path = files() / name;
  for (auto _ : state) {
    const auto frame = read_frame(path);
    if (!frame.ok()) return state.SkipWithError("not read");
    benchmark::DoNotOptimize(frame->pixels.data());
  }
}

void bare_libraw(benchmark::State& state) {
  const auto path = files() / "frame.dng";
  for (auto _ : state) {
    const auto raw = std::make_unique<LibRaw>();
    if (raw->open_file(path.c_str()) || raw->unpack()) return state.SkipWithError("not read");
    benchmark::DoNotOptimize(raw->imgdata.rawdata.raw_image);
  }
}

void bare_cfitsio(benchmark::State& state) {
  const auto path = files() / "frame.fits";
  for (auto _ : state) {
    fitsfile* file = nullptr;
    int status = 0, any_null = 0;
    fits_open_diskfile(&file, path.c_str(), READONLY, &status);
    std::vector<std::uint16_t> samples(static_cast<std::size_t>(kWidth) * kHeight);
    fits_read_img(file, TUSHORT, 1, static_cast<LONGLONG>(samples.size()), nullptr, samples.data(), &any_null, &status);
    fits_close_file(file, &status);
    if (status) return state.SkipWithError("not read");
    benchmark::DoNotOptimize(samples.data());
  }
}

}  // namespace

BENCHMARK_CAPTURE(read_frame_of, dng, "frame.dng")->Unit(benchmark::kMillisecond);
BENCHMARK(bare_libraw)->Unit(benchmark::kMillisecond);
BENCHMARK_CAPTURE(read_frame_of, fits, "frame.fits")->Unit(benchmark::kMillisecond);
BENCHMARK(bare_cfitsio)->Unit(benchmark::kMillisecond);

BENCHMARK_MAIN();
