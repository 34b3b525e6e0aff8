#include <fmt/format.h>
#include <libraw/libraw.h>

#include <algorithm>
#include <cstring>
#include <memory>

#include "frame/exif.hpp"
#include "frame/levels.hpp"
#include "frame/mosaic.hpp"
#include "frame/pixel_memory.hpp"
#include "frame/readers.hpp"
#include "frame/sniff.hpp"

namespace polewright {
namespace {

/// The library reports damaged data to this instead of standard error.
void note_damage(void* damaged, const char* /*file*/, int /*offset*/) {
  *static_cast<bool*>(damaged) = true;
}

Error raw_error(const std::filesystem::path& path, int status) {
  const bool unsupported = status == LIBRAW_FILE_UNSUPPORTED || status == LIBRAW_NOT_IMPLEMENTED;
  return file_error(unsupported ? ErrorCode::file_unsupported : ErrorCode::file_truncated, path,
                    fmt::format("the raw data cannot be read ({})", libraw_strerror(status)),
                    "a complete raw file of a known camera", "Copy the file again, or convert it to DNG");
}

/// Colour of each position of the visible area's 2×2 pattern; nothing when the pattern is larger or not red-green-blue.
std::optional<Mosaic> bayer_pattern(LibRaw& raw) {
  std::string name;
  for (int y = 0; y < 2; ++y)
    for (int x = 0; x < 2; ++x) name += raw.imgdata.idata.cdesc[raw.COLOR(y, x)];
  for (int y = 0; y < 16; ++y)
    for (int x = 0; x < 16; ++x)
      if (raw.COLOR(y, x) != raw.COLOR(y & 1, x & 1)) return {};
  return mosaic_from_name(name);
}

/// Black at a visible pixel: the common level, the colour's own, and a repeating pattern of cblack[4]×cblack[5]. A DNG
/// counts that pattern from its active area; the library moves an odd corner of it to the next even pixel and leaves
/// the pattern behind, so `shift_x`, `shift_y` say by how much.
double black_at(LibRaw& raw, int x, int y, int shift_x, int shift_y) {
  const auto& c = raw.imgdata.color;
  double black = static_cast<double>(c.black);
  const int colour = raw.imgdata.idata.filters ? raw.COLOR(y, x) : 0;
  if (colour >= 0 && colour < 4) black += c.cblack[colour];
  const unsigned rows = c.cblack[4], columns = c.cblack[5];
  if (rows && columns)
    black += c.cblack[6 + static_cast<unsigned>(y + shift_y) % rows * columns +
                      static_cast<unsigned>(x + shift_x) % columns];
  return black;
}

/// The visible area of the sensor's samples.
struct Visible {
  const ushort* first = nullptr;
  std::size_t row_samples = 0;
  int width = 0, height = 0;
};

std::optional<Visible> visible_area(const LibRaw& raw, int samples_per_pixel, const ushort* data) {
  const auto& s = raw.imgdata.sizes;
  if (s.left_margin + s.width > s.raw_width || s.top_margin + s.height > s.raw_height) return {};
  const std::size_t row = s.raw_pitch
                              ? s.raw_pitch / sizeof(ushort)
                              : static_cast<std::size_t>(s.raw_width) * static_cast<std::size_t>(samples_per_pixel);
  const std::size_t skip = s.top_margin * row + static_cast<std::size_t>(s.left_margin * samples_per_pixel);
  return Visible{data + skip, row, s.width, s.height};
}

void take_plane(const Visible& v, Frame& frame) {
  const auto width = static_cast<std::size_t>(v.width);
  reserve_samples(frame.pixels, width * static_cast<std::size_t>(v.height));
  for (int y = 0; y < v.height; ++y) {
    const ushort* row = v.first + static_cast<std::size_t>(y) * v.row_samples;
    frame.pixels.insert(frame.pixels.end(), row, row + width);
  }
}

/// Mean of `block`×`block` pixels and `colours` of every `samples` samples, times `gain` to keep its fraction.
void take_means(const Visible& v, int block, int samples, int colours, int gain, Frame& frame) {
  const auto parts = static_cast<std::uint32_t>(block * block * colours);
  frame.pixels.reserve(static_cast<std::size_t>(frame.width) * static_cast<std::size_t>(frame.height));
  for (int y = 0; y < frame.height; ++y)
    for (int x = 0; x < frame.width; ++x) {
      std::uint32_t sum = 0;
      for (int j = 0; j < block; ++j) {
        const ushort* at = v.first + static_cast<std::size_t>(y * block + j) * v.row_samples +
                           static_cast<std::size_t>(x * block * samples);
        for (int i = 0; i < block; ++i, at += samples)
          for (int c = 0; c < colours; ++c) sum += at[c];
      }
      const std::uint32_t mean = (sum * static_cast<std::uint32_t>(gain) + parts / 2) / parts;
      frame.pixels.push_back(static_cast<std::uint16_t>(std::min<std::uint32_t>(mean, 65535)));
    }
}

/// How the stored samples become one plane.
struct Layout {
  std::optional<Mosaic> mosaic;
  int block = 1;    ///< pixels averaged each way
  int samples = 1;  ///< per pixel
  int colours = 1;  ///< of these, averaged
  int gain = 1;
};

/// Three by three pixels of a 6×6 X-Trans pattern always hold five green, two red and two blue; other patterns that are
/// not 2×2 red-green-blue repeat within two pixels.
Layout layout_of(LibRaw& raw) {
  Layout l;
  const auto& id = raw.imgdata.idata;
  if (id.filters == 0) {
    l.colours = id.colors >= 3 ? 3 : 1;
  } else if (!(l.mosaic = bayer_pattern(raw))) {
    l.block = id.filters == LIBRAW_XTRANS ? 3 : 2;
  }
  if (l.block > 1 || l.colours > 1)
    l.gain = std::clamp(static_cast<int>(65535 / std::max(1U, raw.imgdata.color.maximum)), 1, 16);
  return l;
}

void set_levels(LibRaw& raw, const Layout& layout, const ExifTags& tags, Frame& frame) {
  const int odd_x = tags.active_left & 1, odd_y = tags.active_top & 1;
  frame.scale = 1.0 / layout.gain;
  frame.white_level = static_cast<double>(raw.imgdata.color.maximum) * layout.gain;
  double mean = 0.0;
  for (int i = 0; i < 4; ++i) {
    frame.black_level[static_cast<std::size_t>(i)] = black_at(raw, i & 1, i >> 1, odd_x, odd_y);
    mean += frame.black_level[static_cast<std::size_t>(i)] / 4;
  }
  if (layout.block > 1 || layout.colours > 1) frame.black_level.fill(mean * layout.gain);
  // 65535 is what a file without a white level gets, whatever its sensor's depth.
  if (raw.imgdata.color.maximum >= 65535)
    if (const auto clipped = clipping_level(frame.pixels)) frame.white_level = *clipped;
}

std::optional<Error> take_pixels(LibRaw& raw, Layout& layout, Frame& frame) {
  const auto& data = raw.imgdata.rawdata;
  const ushort* samples = data.raw_image;
  if (!samples && data.color4_image) {
    samples = &data.color4_image[0][0];
    layout.samples = 4;
  } else if (!samples && data.color3_image) {
    samples = &data.color3_image[0][0];
    layout.samples = 3;
  }
  const auto visible = samples ? visible_area(raw, layout.samples, samples) : std::nullopt;
  if (!visible)
    return file_error(ErrorCode::file_unsupported, frame.path, "raw samples in an unusual arrangement",
                      "one colour-filtered or three linear integer planes", "Convert the file to DNG or 16-bit TIFF");
  if (layout.block == 1 && layout.samples == 1) {
    take_plane(*visible, frame);
  } else {
    take_means(*visible, layout.block, layout.samples, std::min(layout.colours, layout.samples), layout.gain, frame);
  }
  return {};
}

/// What the library knows and the EXIF may lack (formats Exiv2 cannot read). Its time stamp is left alone: it depends
/// on the zone of this computer and ignores the recorded one.
void complete_metadata(const LibRaw& raw, FrameMetadata& m, int width) {
  const auto& other = raw.imgdata.other;
  if (!m.exposure_s && other.shutter > 0.0F) m.exposure_s = Sourced<double>{other.shutter, "raw shutter"};
  if (!m.f_number && other.aperture > 0.0F) m.f_number = Sourced<double>{other.aperture, "raw aperture"};
  if (!m.iso && other.iso_speed > 0.0F) m.iso = Sourced<double>{other.iso_speed, "raw ISO"};
  if (!m.focal_length_mm && other.focal_len > 0.0F)
    m.focal_length_mm = Sourced<double>{other.focal_len, "raw focal length"};
  if (m.camera.empty()) m.camera = fmt::format("{} {}", raw.imgdata.idata.make, raw.imgdata.idata.model);
  if (m.lens.empty()) m.lens = raw.imgdata.lens.Lens;
  if (m.pixel_pitch_um) return;
  // Nominal widths of the formats (common practice, no source); makers' sensors differ by up to 2 %.
  const auto format = raw.imgdata.lens.makernotes.CameraFormat;
  const bool canon = std::strcmp(raw.imgdata.idata.make, "Canon") == 0;
  const double sensor_mm = format == LIBRAW_FORMAT_FF     ? 36.0
                           : format == LIBRAW_FORMAT_APSC ? (canon ? 22.3 : 23.6)
                           : format == LIBRAW_FORMAT_FT   ? 17.3
                                                          : 0.0;
  if (sensor_mm == 0.0) return;
  m.sensor_width_mm = Sourced<double>{sensor_mm, "nominal width of the sensor format"};
  m.pixel_pitch_um = Sourced<double>{sensor_mm * 1000.0 / width, "nominal width of the sensor format"};
}

}  // namespace

Result<Frame> read_raw(const std::filesystem::path& path, const ReadOptions& options) {
  if (!raw_tags_are_sound(path))
    return file_error(ErrorCode::file_truncated, path, "raw tags that contradict each other or the file's size",
                      "a complete raw file", "Copy the file again");
  const auto raw = std::make_unique<LibRaw>();
  bool damaged = false;
  raw->set_dataerror_handler(note_damage, &damaged);
  if (const int status = raw->open_file(path.c_str())) return raw_error(path, status);
  const auto& sizes = raw->imgdata.sizes;
  if (Status wrong = check_size(path, sizes.width, sizes.height)) return *wrong;
  if (raw->is_fuji_rotated())
    return file_error(ErrorCode::file_unsupported, path, "a sensor with diagonal pixel rows",
                      "upright rows and columns", "Convert the file to a 16-bit TIFF");
  Layout layout = layout_of(*raw);
  Frame frame;
  frame.path = path;
  frame.kind = FileKind::raw;
  frame.width = sizes.width / layout.block;
  frame.height = sizes.height / layout.block;
  frame.binned = layout.block;
  frame.planes_combined = layout.colours;
  if (layout.mosaic) frame.mosaic = *layout.mosaic;
  const ExifTags tags = read_exif(path);
  frame.metadata = metadata_from_exif(tags, frame.width, frame.height, layout.block, options);
  complete_metadata(*raw, frame.metadata, frame.width);
  if (!options.metadata_only) {
    if (options.memory) frame.pixels.swap(*options.memory);
    frame.pixels.clear();
    if (const int status = raw->unpack()) return raw_error(path, status);
    if (damaged)
      return file_error(ErrorCode::file_truncated, path, "raw data that ends early or is damaged",
                        "a complete raw file", "Copy the file again");
    if (auto wrong = take_pixels(*raw, layout, frame)) return *wrong;
  }
  set_levels(*raw, layout, tags, frame);
  return frame;
}

}  // namespace polewright
