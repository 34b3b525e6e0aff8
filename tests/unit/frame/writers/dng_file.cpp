#include "unit/frame/writers/dng_file.hpp"

#include <algorithm>
#include <cmath>
#include <fstream>
#include <map>

namespace polewright::test {
namespace {

enum Type : std::uint16_t { kByte = 1, kAscii = 2, kShort = 3, kLong = 4, kRational = 5, kSignedRational = 10 };

void put(std::string& out, std::uint64_t v, int bytes) {
  for (int i = 0; i < bytes; ++i) out += static_cast<char>(v >> (8 * i) & 0xFF);
}

/// One TIFF directory; entries come out in the order of their tags, as TIFF asks.
class Directory {
 public:
  void add(std::uint16_t tag, Type type, const std::vector<std::uint32_t>& values) {
    const int size = type == kByte ? 1 : type == kShort ? 2 : 4;
    std::string data;
    for (const std::uint32_t v : values) put(data, v, size);
    const bool pair = type == kRational || type == kSignedRational;
    entry_[tag] = {type, static_cast<std::uint32_t>(pair ? values.size() / 2 : values.size()), data};
  }
  void add(std::uint16_t tag, const std::string& text) {
    if (!text.empty()) entry_[tag] = {kAscii, static_cast<std::uint32_t>(text.size() + 1), text + std::string(1, '\0')};
  }
  [[nodiscard]] std::size_t bytes() const {
    std::size_t n = 2 + 12 * entry_.size() + 4;
    for (const auto& [tag, e] : entry_) n += e.data.size() > 4 ? (e.data.size() + 1) / 2 * 2 : 0;
    return n;
  }
  /// The directory and its long values, for a place in the file at `offset`.
  [[nodiscard]] std::string at(std::size_t offset) const {
    std::string table, values;
    put(table, entry_.size(), 2);
    std::size_t free = offset + 2 + 12 * entry_.size() + 4;
    for (const auto& [tag, e] : entry_) {
      put(table, tag, 2);
      put(table, e.type, 2);
      put(table, e.count, 4);
      if (e.data.size() <= 4) {
        std::string padded = e.data;
        padded.resize(4, '\0');
        table += padded;
      } else {
        put(table, free + values.size(), 4);
        values += e.data;
        if (values.size() % 2) values += '\0';
      }
    }
    put(table, 0, 4);
    return table + values;
  }

 private:
  struct Entry {
    std::uint16_t type;
    std::uint32_t count;
    std::string data;
  };
  std::map<std::uint16_t, Entry> entry_;
};

void add_image_tags(const DngFile& f, Directory& d) {
  const std::uint32_t colours = f.linear ? 3 : 1;
  d.add(254, kLong, {0});
  d.add(256, kLong, {static_cast<std::uint32_t>(f.width)});
  d.add(257, kLong, {static_cast<std::uint32_t>(f.height)});
  d.add(258, kShort, std::vector<std::uint32_t>(colours, 16));
  d.add(259, kShort, {1});
  d.add(262, kShort, {f.linear ? 34892U : 32803U});
  d.add(271, f.make);
  d.add(272, f.model);
  d.add(273, kLong, {8});  // samples follow the file header at once
  d.add(274, kShort, {1});
  d.add(277, kShort, {colours});
  d.add(278, kLong, {static_cast<std::uint32_t>(f.height)});
  d.add(279, kLong, {static_cast<std::uint32_t>(f.samples.size() * 2)});
  d.add(284, kShort, {1});
  if (!f.linear && f.cfa_large.empty()) {
    d.add(33421, kShort, {2, 2});
    d.add(33422, kByte, {f.cfa.begin(), f.cfa.end()});
  } else if (!f.linear) {
    d.add(33421, kShort, {6, 6});
    d.add(33422, kByte, {f.cfa_large.begin(), f.cfa_large.end()});
  }
}

void add_dng_tags(const DngFile& f, Directory& d) {
  d.add(50706, kByte, {1, 4, 0, 0});
  d.add(50707, kByte, {1, 1, 0, 0});
  d.add(50708, f.model);
  if (!f.linear) {
    d.add(50710, kByte, {0, 1, 2});
    d.add(50711, kShort, {1});
  }
  if (f.black.size() == 1) d.add(50714, kShort, {f.black[0]});
  if (f.black.size() == 4) {
    d.add(50713, kShort, {2, 2});
    d.add(50714, kShort, {f.black.begin(), f.black.end()});
  }
  if (f.white) d.add(50717, kLong, {*f.white});
  const auto one = [](std::uint32_t v) { return std::array<std::uint32_t, 2>{v, 10000}; };
  std::vector<std::uint32_t> matrix;
  for (const std::uint32_t v : {10000U, 0U, 0U, 0U, 10000U, 0U, 0U, 0U, 10000U})
    matrix.insert(matrix.end(), {one(v)[0], one(v)[1]});
  d.add(50721, kSignedRational, matrix);
  d.add(50728, kRational, {1, 1, 1, 1, 1, 1});
  d.add(50778, kShort, {21});
  if (f.active_area[2] > 0) d.add(50829, kLong, {f.active_area.begin(), f.active_area.end()});
}

Directory exif_directory(const DngFile& f) {
  Directory d;
  const auto rational = [&](std::uint16_t tag, std::array<std::uint32_t, 2> v) {
    if (v[1] != 0) d.add(tag, kRational, {v[0], v[1]});
  };
  rational(0x829A, f.exposure);
  rational(0x829D, f.f_number);
  rational(0x920A, f.focal_length);
  if (f.iso > 0) d.add(0x8827, kShort, {static_cast<std::uint32_t>(f.iso)});
  d.add(0x9003, f.date_time_original);
  d.add(0x9011, f.offset_time_original);
  d.add(0x9291, f.sub_seconds);
  d.add(0xA434, f.lens);
  if (f.focal_plane_px_per_cm > 0.0) {
    const auto over = static_cast<std::uint32_t>(std::lround(f.focal_plane_px_per_cm * 10000.0));
    d.add(0xA20E, kRational, {over, 10000});
    d.add(0xA20F, kRational, {over, 10000});
    d.add(0xA210, kShort, {3});
  }
  return d;
}

}  // namespace

void write_dng(const std::filesystem::path& path, const DngFile& f) {
  const std::size_t exif_at = 8 + f.samples.size() * 2;
  const Directory exif = exif_directory(f);
  const std::size_t main_at = exif_at + exif.bytes();
  Directory main;
  add_image_tags(f, main);
  add_dng_tags(f, main);
  main.add(34665, kLong, {static_cast<std::uint32_t>(exif_at)});

  std::string head = "II*";
  head += '\0';
  put(head, main_at, 4);
  std::ofstream out(path, std::ios::binary | std::ios::trunc);
  out.write(head.data(), static_cast<std::streamsize>(head.size()));
  // Tests run on little-endian machines, whose samples are already in the file's order.
  out.write(reinterpret_cast<const char*>(f.samples.data()), static_cast<std::streamsize>(f.samples.size() * 2));
  const std::string tail = exif.at(exif_at) + main.at(main_at);
  out.write(tail.data(), static_cast<std::streamsize>(tail.size()));
}

}  // namespace polewright::test
