// Damaged files: small valid ones of every kind are mutated with a fixed seed and read. Nothing may crash, leak or give
// a frame that contradicts itself. A plain program; run it in a build with POLEWRIGHT_SANITIZE to find what does not
// crash by itself. Arguments: mutations per file (default 400), seed (default 1).
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <random>
#include <string>
#include <vector>

#include "polewright/frame.hpp"
#include "unit/frame/scratch.hpp"
#include "unit/frame/writers/dng_file.hpp"
#include "unit/frame/writers/fits_file.hpp"
#include "unit/frame/writers/picture_file.hpp"

namespace {

using namespace polewright;
using namespace polewright::test;

struct Seed {
  std::string name, bytes;
};

std::vector<Seed> fits_seeds(const Scratch& scratch) {
  std::vector<Seed> seeds;
  for (const int bitpix : {8, 16, 32, -32, -64})
    for (const bool compressed : {false, true}) {
      if (compressed && bitpix == -64) continue;
      FitsFile f;
      f.bitpix = bitpix;
      f.compressed = compressed;
      f.in_extension = bitpix == 32;
      f.planes = bitpix == 8 && !compressed ? 3 : 1;
      for (long i = 0; i < f.width * f.height * f.planes; ++i) f.physical.push_back(static_cast<double>(i % 200));
      f.cards = {{"EXPTIME", "30."},
                 {"DATE-OBS", "'2026-08-12T22:01:00.25-0700'"},
                 {"SITELAT", "'-22:57:08:99'"},
                 {"SITELONG", "68.2"},
                 {"LST", "'17:04:23'"},
                 {"BAYERPAT", "'RGGB'"},
                 {"XPIXSZ", "3.76"},
                 {"XBINNING", "2"},
                 {"CTYPE1", "'RA---TAN'"},
                 {"CTYPE2", "'DEC--TAN'"},
                 {"CRVAL1", "10."},
                 {"CRVAL2", "20."},
                 {"CRPIX1", "8."},
                 {"CRPIX2", "6."},
                 {"CDELT1", "-0.01"},
                 {"CDELT2", "0.01"}};
      write_fits(scratch / "seed", f);
      seeds.push_back({"fits", bytes_of(scratch / "seed")});
    }
  return seeds;
}

std::vector<Seed> raw_seeds(const Scratch& scratch) {
  std::vector<Seed> seeds;
  for (const int kind : {0, 1, 2}) {
    DngFile f;
    f.linear = kind == 1;
    if (kind == 2) f.cfa_large.assign(36, 1);
    for (std::size_t i = 0; i < f.cfa_large.size(); i += 4) f.cfa_large[i] = static_cast<std::uint8_t>(i / 4 % 3);
    f.samples.assign(static_cast<std::size_t>(f.width * f.height * (f.linear ? 3 : 1)), 1000);
    f.black = {510, 512, 514, 520};
    f.active_area = {1, 1, 24, 32};
    f.date_time_original = "2026:08:12 22:01:07";
    f.offset_time_original = "+02:00";
    f.exposure = {30, 1};
    f.focal_plane_px_per_cm = 2564.1026;
    write_dng(scratch / "seed", f);
    seeds.push_back({"dng", bytes_of(scratch / "seed")});
  }
  return seeds;
}

std::vector<Seed> picture_seeds(const Scratch& scratch) {
  std::vector<Seed> seeds;
  for (const char* name : {"seed.tif", "seed.png", "seed.jpg"})
    for (const int bits : {8, 16}) {
      if (bits == 16 && std::string(name) == "seed.jpg") continue;
      PictureFile p;
      p.bits = bits;
      p.colours = bits == 8 ? 3 : 1;
      for (int i = 0; i < p.width * p.height * p.colours; ++i) p.samples.push_back(i % 256);
      p.exif = {{"Exif.Photo.DateTimeOriginal", "2026:08:12 22:01:07"}, {"Exif.Photo.FocalLength", "50/1"},
                {"Exif.GPSInfo.GPSLatitude", "33/1 54/1 0/1"},          {"Exif.GPSInfo.GPSLongitude", "70/1 48/1 36/1"},
                {"Exif.GPSInfo.GPSTimeStamp", "20/1 0/1 0/1"},          {"Exif.GPSInfo.GPSDateStamp", "2026:08:12"}};
      write_picture(scratch / name, p);
      seeds.push_back({name, bytes_of(scratch / name)});
    }
  return seeds;
}

class Mutator {
 public:
  explicit Mutator(unsigned seed) : random_(seed) {}

  std::string mutate(std::string bytes) {
    const std::size_t changes = 1 + below(4);
    for (std::size_t i = 0; i < changes && !bytes.empty(); ++i) change(bytes);
    return bytes;
  }

 private:
  std::size_t below(std::size_t n) { return std::uniform_int_distribution<std::size_t>(0, n - 1)(random_); }

  /// Headers are at the start or, in the TIFF files written here, at the end.
  std::size_t place(const std::string& bytes) {
    const std::size_t near = std::min<std::size_t>(bytes.size(), 700);
    switch (below(3)) {
      case 0:
        return below(near);
      case 1:
        return bytes.size() - 1 - below(near);
      default:
        return below(bytes.size());
    }
  }

  void change(std::string& bytes) {
    const std::size_t at = place(bytes);
    switch (below(7)) {
      case 0:
        bytes[at] = static_cast<char>(bytes[at] ^ (1 << below(8)));
        break;
      case 1:
        bytes[at] = static_cast<char>(below(256));
        break;
      case 2:
        bytes.replace(at, 4, std::string(4, "\x00\xFF\x7F\x80"[below(4)]));
        break;
      case 3:
        bytes.resize(at);
        break;
      case 4:
        bytes.erase(at, 1 + below(16));
        break;
      case 5:
        bytes.insert(at, bytes.substr(place(bytes), 1 + below(32)));
        break;
      default:
        bytes[at] = "0123456789-+.:'E TN"[below(19)];
        break;
    }
  }

  std::mt19937 random_;
};

/// What every frame that was read must satisfy.
bool consistent(const Frame& f) {
  const auto n = static_cast<std::size_t>(f.width) * static_cast<std::size_t>(f.height);
  if (f.width < 1 || f.height < 1 || f.pixels.size() != n || !(f.scale > 0.0)) return false;
  for (const std::uint32_t i : f.blank)
    if (i >= n) return false;
  const FrameMetadata& m = f.metadata;
  if (m.site && !(abs(m.site->value.latitude) <= Angle::deg(90.0))) return false;
  if (m.exposure_s && !(m.exposure_s->value >= 0.0)) return false;
  return !m.pixel_pitch_um || m.pixel_pitch_um->value > 0.0;
}

}  // namespace

int main(int argc, char** argv) {
  const int mutations = argc > 1 ? std::atoi(argv[1]) : 400;
  const unsigned seed_number = argc > 2 ? static_cast<unsigned>(std::atoi(argv[2])) : 1;
  const Scratch scratch;
  std::vector<Seed> seeds;
  for (auto make : {fits_seeds, raw_seeds, picture_seeds})
    for (Seed& seed : make(scratch)) seeds.push_back(std::move(seed));

  // On a busy or instrumented machine the time ends the run; the order of the mutations stays the same.
  const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(argc > 1 ? 3600 : 10);
  Mutator mutator(seed_number);
  int read = 0, refused = 0;
  for (int round = 0; round < mutations && std::chrono::steady_clock::now() < end; ++round)
    for (const Seed& seed : seeds) {
      const auto path = scratch.write("mutated", mutator.mutate(seed.bytes));
      const auto frame = read_frame(path);
      (frame.ok() ? read : refused) += 1;
      if (frame.ok() ? consistent(*frame) : !frame.error().found.empty()) continue;
      std::filesystem::copy_file(path, "fuzz_frame_failure", std::filesystem::copy_options::overwrite_existing);
      std::fprintf(stderr, "round %d of %s: inconsistent result; the file is ./fuzz_frame_failure\n", round,
                   seed.name.c_str());
      return 1;
    }
  std::printf("%d mutated files read, %d refused\n", read, refused);
  // Both must occur, else the mutations test nothing.
  return read > 0 && refused > 0 ? 0 : 1;
}
