#include "unit/frame/writers/fits_file.hpp"

#include <fitsio.h>

#include <cmath>
#include <limits>
#include <stdexcept>

namespace polewright::test {
namespace {

void check(int status) {
  if (status == 0) return;
  char text[FLEN_STATUS] = {};
  fits_get_errstatus(status, text);
  throw std::runtime_error(std::string("cfitsio: ") + text);
}

void write_cards(fitsfile* out, const FitsFile& file, int& status) {
  for (const auto& [keyword, value] : file.cards) {
    std::string card = keyword;
    card.resize(8, ' ');
    card += "= " + value;
    fits_write_record(out, card.c_str(), &status);
  }
}

/// Stored values go in unscaled, so that the file holds exactly what the test computed.
void write_values(fitsfile* out, const FitsFile& file, int& status) {
  const auto n = static_cast<LONGLONG>(file.physical.size());
  std::vector<double> stored(file.physical);
  for (double& v : stored) {
    if (file.bitpix < 0) continue;
    v = std::isnan(v) ? static_cast<double>(file.blank) : std::round((v - file.bzero) / file.bscale);
  }
  fits_set_bscale(out, 1.0, 0.0, &status);
  fits_write_img(out, TDOUBLE, 1, n, stored.data(), &status);
}

/// The image HDU alone, uncompressed.
void write_image(fitsfile* out, const FitsFile& file, int& status) {
  long size[3] = {file.width, file.height, file.planes};
  fits_create_img(out, file.bitpix, file.planes > 1 ? 3 : 2, size, &status);
  if (!file.in_extension) write_cards(out, file, status);
  if (file.bzero != 0.0 || file.bscale != 1.0) {
    fits_write_key_dbl(out, "BZERO", file.bzero, -15, nullptr, &status);
    fits_write_key_dbl(out, "BSCALE", file.bscale, -15, nullptr, &status);
  }
  if (file.has_blank) fits_write_key_lng(out, "BLANK", file.blank, nullptr, &status);
  write_values(out, file, status);
}

/// Compressed copy of an image, as the convention's own tool makes it: the image is written first, then packed.
void write_compressed(fitsfile* out, const FitsFile& file, int& status) {
  fitsfile* plain = nullptr;
  fits_create_file(&plain, "mem://", &status);
  write_image(plain, file, status);
  fits_flush_file(plain, &status);
  // Floats are kept exactly: no quantisation, which Rice coding would need.
  fits_set_compression_type(out, file.bitpix < 0 ? GZIP_2 : RICE_1, &status);
  if (file.bitpix < 0) fits_set_quantize_level(out, 0.0F, &status);
  fits_img_compress(plain, out, &status);
  int closing = 0;
  if (plain) fits_close_file(plain, &closing);
}

}  // namespace

void write_fits(const std::filesystem::path& path, const FitsFile& file) {
  std::filesystem::remove(path);
  fitsfile* out = nullptr;
  int status = 0;
  fits_create_diskfile(&out, path.c_str(), &status);
  check(status);
  if (file.in_extension) {
    fits_create_img(out, 8, 0, nullptr, &status);
    write_cards(out, file, status);
  }
  if (file.compressed) {
    write_compressed(out, file, status);
  } else {
    write_image(out, file, status);
  }
  int closing = 0;
  fits_close_file(out, &closing);
  check(status ? status : closing);
}

}  // namespace polewright::test
