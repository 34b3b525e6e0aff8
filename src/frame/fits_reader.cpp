#include <fitsio.h>
#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <memory>
#include <span>

#include "frame/fits_metadata.hpp"
#include "frame/levels.hpp"
#include "frame/mosaic.hpp"
#include "frame/pixel_memory.hpp"
#include "frame/quantise.hpp"
#include "frame/readers.hpp"

namespace polewright {
namespace {

struct Close {
  void operator()(fitsfile* file) const {
    int status = 0;
    fits_close_file(file, &status);
    fits_clear_errmsg();
  }
};
using FitsFile = std::unique_ptr<fitsfile, Close>;

struct ImageShape {
  int bitpix = 0;
  long width = 0, height = 0;
  int planes = 0;
};

/// The library's text for a status; empties its message stack, which would otherwise grow from file to file.
std::string status_text(int status) {
  char text[FLEN_STATUS] = {};
  fits_get_errstatus(status, text);
  fits_clear_errmsg();
  return text;
}

Error fits_error(const std::filesystem::path& path, int status) {
  const bool cut = status == END_OF_FILE || status == READ_ERROR || status == DATA_DECOMPRESSION_ERR;
  return file_error(cut ? ErrorCode::file_truncated : ErrorCode::file_unreadable, path,
                    fmt::format("the FITS data cannot be read ({})", status_text(status)), "a complete FITS image",
                    "Copy the file again");
}

/// Goes to the first HDU that holds an image and gives its shape.
Result<ImageShape> find_image(fitsfile* file, const std::filesystem::path& path) {
  int count = 0, status = 0;
  if (fits_get_num_hdus(file, &count, &status)) return fits_error(path, status);
  for (int i = 1; i <= count; ++i) {
    int type = 0, axes = 0;
    std::array<LONGLONG, 4> size{1, 1, 1, 1};
    ImageShape shape;
    if (fits_movabs_hdu(file, i, &type, &status)) return fits_error(path, status);
    if (type != IMAGE_HDU && !fits_is_compressed_image(file, &status)) continue;
    if (fits_get_img_dim(file, &axes, &status) || fits_get_img_sizell(file, 4, size.data(), &status) ||
        fits_get_img_type(file, &shape.bitpix, &status))
      return fits_error(path, status);
    if (axes == 0) continue;
    const bool colour = axes == 3 && size[2] == 3;
    if (axes < 2 || axes > 3 || (axes == 3 && !colour && size[2] != 1))
      return file_error(ErrorCode::file_unsupported, path, fmt::format("an image of {} axes, {} planes", axes, size[2]),
                        "two axes, or three with 3 colour planes", "Extract one frame of the cube");
    shape.width = static_cast<long>(size[0]);
    shape.height = static_cast<long>(size[1]);
    shape.planes = colour ? 3 : 1;
    return shape;
  }
  return file_error(ErrorCode::file_unsupported, path, "a FITS file without an image", "an image HDU",
                    "Name a frame, not a table");
}

/// Damaged headers claim sizes the file cannot hold: they are refused before memory is taken. Compressed tiles of a
/// constant picture shrink about a thousandfold.
Status check_data_present(fitsfile* file, const std::filesystem::path& path, const ImageShape& shape) {
  LONGLONG header = 0, data = 0, end = 0;
  int status = 0;
  if (fits_get_hduaddrll(file, &header, &data, &end, &status)) return fits_error(path, status);
  const auto size = static_cast<double>(std::filesystem::file_size(path));
  const bool compressed = fits_is_compressed_image(file, &status) != 0;
  const double pixels = static_cast<double>(shape.width) * static_cast<double>(shape.height) * shape.planes;
  const double stored = pixels * std::abs(shape.bitpix) / 8;
  const double needed =
      compressed ? std::max(static_cast<double>(end) - 2880.0, stored / 4000.0) : static_cast<double>(data) + stored;
  if (needed <= size) return {};
  return file_error(ErrorCode::file_truncated, path, fmt::format("a FITS file of {:.0f} bytes", size),
                    fmt::format("at least {:.0f} bytes for {}×{} pixels", needed, shape.width, shape.height),
                    "Copy the file again");
}

void add_cards(fitsfile* file, FitsHeader& header) {
  int count = 0, more = 0, status = 0;
  fits_get_hdrspace(file, &count, &more, &status);
  char card[FLEN_CARD] = {};
  for (int i = 1; i <= count && !status; ++i)
    if (!fits_read_record(file, i, card, &status)) header.add(card);
  fits_clear_errmsg();
}

/// Cards of the current HDU, then those of the primary one, where instruments put what belongs to every extension.
FitsHeader read_header(fitsfile* file) {
  FitsHeader header;
  add_cards(file, header);
  int here = 1, status = 0;
  fits_get_hdu_num(file, &here);
  if (here != 1) {
    fits_movabs_hdu(file, 1, nullptr, &status);
    add_cards(file, header);
    fits_movabs_hdu(file, here, nullptr, &status);
    fits_clear_errmsg();
  }
  return header;
}

/// Calls `take(values, first_index)` for the samples of one plane, a band of rows at a time so that the data is still
/// in the cache when it is converted.
template <class T, class Take>
int for_each_band(fitsfile* file, int type, const ImageShape& shape, int plane, Take take) {
  const LONGLONG total = static_cast<LONGLONG>(shape.width) * shape.height;
  const LONGLONG band = std::max<LONGLONG>(shape.width, 65536 / shape.width * shape.width);
  std::vector<T> buffer(static_cast<std::size_t>(std::min(band, total)));
  int status = 0;
  for (LONGLONG done = 0; done < total; done += band) {
    const LONGLONG n = std::min(band, total - done);
    int any_null = 0;
    if (fits_read_img(file, type, plane * total + done + 1, n, nullptr, buffer.data(), &any_null, &status)) break;
    take(std::span<const T>(buffer.data(), static_cast<std::size_t>(n)), static_cast<std::size_t>(done));
  }
  return status;
}

struct Scaling {
  double zero = 0.0, scale = 1.0;
  std::optional<long> blank;
};

Scaling read_scaling(const FitsHeader& header) {
  Scaling s;
  s.zero = header.number("BZERO").value_or(0.0);
  s.scale = header.number("BSCALE").value_or(1.0);
  if (const auto blank = header.number("BLANK")) s.blank = static_cast<long>(*blank);
  return s;
}

/// Signed samples moved up by 32768, which turns their top bit. Blocks of fixed length let the compiler use vector
/// instructions.
void turn_top_bits(std::span<std::uint16_t> samples) {
  constexpr std::size_t kBlock = 1024;
  std::size_t at = 0;
  for (; at + kBlock <= samples.size(); at += kBlock)
    for (std::size_t i = 0; i < kBlock; ++i) samples[at + i] ^= 0x8000;
  for (; at < samples.size(); ++at) samples[at] ^= 0x8000;
}

/// 8 and 16 bits: the stored integers, 16-bit ones moved up so that none is negative. The library is asked for them as
/// stored, its fastest way. Bands go straight into the frame, so that growing it, filling it and turning the bits meet
/// the same cache lines.
int read_integers(fitsfile* file, const ImageShape& shape, const Scaling& scaling, Frame& frame) {
  const bool is_signed = shape.bitpix == SHORT_IMG;
  const int shift = is_signed ? 32768 : 0;
  const std::size_t total = static_cast<std::size_t>(shape.width) * static_cast<std::size_t>(shape.height);
  constexpr std::size_t kBand = 65536;
  int status = 0, any_null = 0;
  fits_set_bscale(file, 1.0, 0.0, &status);  // the file's own scaling is kept in the frame's mapping
  reserve_samples(frame.pixels, total);
  for (std::size_t first = 0; first < total && !status; first += kBand) {
    const std::size_t n = std::min(kBand, total - first);
    if (frame.pixels.size() < first + n) frame.pixels.resize(first + n);
    const std::span<std::uint16_t> band(frame.pixels.data() + first, n);
    fits_read_img(file, is_signed ? TSHORT : TUSHORT, static_cast<LONGLONG>(first) + 1, static_cast<LONGLONG>(n),
                  nullptr, band.data(), &any_null, &status);
    if (is_signed) turn_top_bits(band);
    if (scaling.blank)
      for (std::size_t i = 0; i < n; ++i)
        if (band[i] == *scaling.blank + shift) frame.blank.push_back(static_cast<std::uint32_t>(first + i));
  }
  frame.pixels.resize(total);
  frame.scale = scaling.scale;
  frame.zero = scaling.zero - shift * scaling.scale;
  return status;
}

/// Everything else, and colour: real values, averaged over the planes, then quantised.
template <class T>
int read_reals(fitsfile* file, int type, const ImageShape& shape, const Scaling& scaling, Frame& frame) {
  const bool stored_reals = shape.bitpix < 0;
  int status = 0;
  if (!stored_reals) fits_set_bscale(file, 1.0, 0.0, &status);
  std::vector<T> values(static_cast<std::size_t>(shape.width) * static_cast<std::size_t>(shape.height), T(0));
  for (int plane = 0; plane < shape.planes && !status; ++plane)
    status = for_each_band<T>(file, type, shape, plane, [&](std::span<const T> band, std::size_t first) {
      for (std::size_t i = 0; i < band.size(); ++i) {
        T v = band[i];
        if (!stored_reals) {
          const bool blank = scaling.blank && v == static_cast<T>(*scaling.blank);
          v = blank ? std::numeric_limits<T>::quiet_NaN() : static_cast<T>(scaling.zero + scaling.scale * v);
        }
        values[first + i] += v / static_cast<T>(shape.planes);
      }
    });
  if (status) return status;
  Quantised q = quantise(std::span<const T>(values), static_cast<int>(shape.width));
  frame.pixels = std::move(q.samples);
  frame.blank = std::move(q.blank);
  frame.zero = q.zero;
  frame.scale = q.scale;
  if (q.clipped)
    frame.metadata.warnings.push_back(fmt::format(
        "{} pixels are brighter than 16 bits reach at the noise of this frame; they count as saturated", q.clipped));
  return 0;
}

int read_pixels(fitsfile* file, const ImageShape& shape, const FitsHeader& header, Frame& frame) {
  const Scaling scaling = read_scaling(header);
  const bool plain = shape.planes == 1 && scaling.scale > 0.0;
  if (plain && (shape.bitpix == BYTE_IMG || shape.bitpix == SHORT_IMG))
    return read_integers(file, shape, scaling, frame);
  // Single precision holds 32-bit floats and the mean of 8- and 16-bit planes; 32- and 64-bit integers need double.
  if (shape.bitpix == FLOAT_IMG || shape.bitpix == BYTE_IMG || shape.bitpix == SHORT_IMG)
    return read_reals<float>(file, TFLOAT, shape, scaling, frame);
  return read_reals<double>(file, TDOUBLE, shape, scaling, frame);
}

/// White from the header, else where the frame is seen to be clipped, else the top of the stored type. Black is the
/// physical zero.
void set_levels(const FitsHeader& header, int bitpix, Frame& frame) {
  frame.black_level.fill(-frame.zero / frame.scale);
  const Scaling stored = read_scaling(header);
  if (bitpix == BYTE_IMG || bitpix == SHORT_IMG) {
    const double top = stored.zero + stored.scale * (bitpix == BYTE_IMG ? 255.0 : 32767.0);
    frame.white_level = std::clamp((top - frame.zero) / frame.scale, 1.0, 65535.0);
  }
  const auto saturation = header.first_number({"SATURATE", "SATLEVEL"}, 1.0, 1e12, 1.0, frame.metadata.warnings);
  const double sample = saturation ? (saturation->value - frame.zero) / frame.scale : 0.0;
  if (sample > std::max(1.0, frame.black_level[0]) && sample < frame.white_level) {
    frame.white_level = sample;
  } else if (const auto clipped = clipping_level(frame.pixels)) {
    frame.white_level = std::min<double>(frame.white_level, *clipped);
  }
}

void set_mosaic(const FitsHeader& header, Frame& frame) {
  const auto name = header.first_text({"BAYERPAT", "COLORTYP"});
  if (!name || frame.planes_combined != 1) return;
  const auto pattern = mosaic_from_name(name->value);
  if (!pattern) {
    if (name->source == "FITS BAYERPAT")
      frame.metadata.warnings.push_back(fmt::format(
          "{} '{}' is no 2×2 colour pattern; the frame is treated as monochrome", name->source, name->value));
    return;
  }
  const int dx = static_cast<int>(header.number("XBAYROFF").value_or(0.0));
  int dy = static_cast<int>(header.number("YBAYROFF").value_or(0.0));
  const std::string* order = header.text("ROWORDER");
  if (order && *order == "BOTTOM-UP") {
    // The pattern is named from the top of the picture, which is the last stored row.
    dy += frame.height - 1;
    frame.metadata.warnings.push_back(
        "FITS ROWORDER is BOTTOM-UP: rows are kept as stored and BAYERPAT is counted from the last row");
  }
  frame.mosaic = shifted(*pattern, dx & 1, dy & 1);
}

}  // namespace

Result<Frame> read_fits(const std::filesystem::path& path, const ReadOptions& options) {
  int status = 0;
  fitsfile* opened = nullptr;
  fits_open_diskfile(&opened, path.c_str(), READONLY, &status);
  const FitsFile file(opened);
  if (status) return fits_error(path, status);
  const auto shape = find_image(file.get(), path);
  if (!shape) return shape.error();
  if (Status wrong = check_size(path, shape->width, shape->height)) return *wrong;
  if (Status wrong = check_data_present(file.get(), path, *shape)) return *wrong;

  const FitsHeader header = read_header(file.get());
  Frame frame;
  frame.path = path;
  frame.kind = FileKind::fits;
  frame.width = static_cast<int>(shape->width);
  frame.height = static_cast<int>(shape->height);
  frame.planes_combined = shape->planes;
  frame.metadata = metadata_from_fits(header, frame.width, frame.height, options);
  set_mosaic(header, frame);
  if (!options.metadata_only) {
    if (options.memory) frame.pixels.swap(*options.memory);
    status = read_pixels(file.get(), *shape, header, frame);
    if (status) return fits_error(path, status);
  }
  set_levels(header, shape->bitpix, frame);
  return frame;
}

}  // namespace polewright
