#include "frame/sniff.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <fstream>
#include <string_view>
#include <vector>

namespace polewright {
namespace {

bool has(std::span<const std::uint8_t> head, std::size_t at, std::string_view text) {
  return head.size() >= at + text.size() &&
         std::equal(text.begin(), text.end(), head.begin() + static_cast<std::ptrdiff_t>(at),
                    [](char a, std::uint8_t b) { return static_cast<std::uint8_t>(a) == b; });
}

std::span<const std::uint8_t> bytes_of(const std::string& text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

/// Walks the directories of a classic TIFF far enough to tell raw data from a picture.
class TiffDirectories {
 public:
  explicit TiffDirectories(const std::filesystem::path& path)
      : file_(path, std::ios::binary), size_(std::filesystem::file_size(path)) {
    walk();
  }

  [[nodiscard]] bool hold_raw_data() const { return raw_; }
  [[nodiscard]] bool raw_tags_are_sound() const { return sound_; }

 private:
  void walk() {
    char order[2] = {};
    if (!file_.read(order, 2)) return;
    little_ = order[0] == 'I';
    file_.seekg(4);
    pending_.push_back(number(4));
    // Raw files have a handful of directories; the bound stops loops in damaged ones.
    for (std::size_t i = 0; i < pending_.size() && i < 16 && file_; ++i)
      if (pending_[i] != 0) visit(pending_[i]);
  }

  void visit(std::uint32_t offset) {
    file_.clear();
    file_.seekg(offset);
    // Cameras write under a hundred; a damaged count must not keep us busy.
    const std::uint32_t entries = std::min<std::uint32_t>(number(2), 500);
    std::uint32_t pattern_cells = 0;
    for (std::uint32_t i = 0; i < entries && file_; ++i) {
      const auto at = static_cast<std::streamoff>(offset) + 2 + 12 * static_cast<std::streamoff>(i);
      file_.seekg(at);
      const std::uint32_t tag = number(2), type = number(2), count = number(4);
      const std::uint32_t value = type == 3 && count == 1 ? number(2) : number(4);
      if (tag == 50706) raw_ = true;                                      // DNGVersion
      if (tag == 262 && (value == 32803 || value == 34892)) raw_ = true;  // colour-filter array, linear raw
      if (tag == 259 && (value == 34713 || value == 32767 || value == 65535)) raw_ = true;  // makers' raw codings
      if (tag == 33421 || tag == 33422 || (tag >= 50706 && tag < 52000)) sound_ = sound_ && fits(type, count, value);
      if (tag == 33421 && count == 2) pattern_cells = (value & 0xFFFF) * (value >> 16);  // either byte order
      if (tag == 33422 && count != pattern_cells && (pattern_cells != 0 || count > 4)) sound_ = false;
      if (tag == 330) add_children(count, value);
    }
    file_.seekg(static_cast<std::streamoff>(offset) + 2 + 12 * static_cast<std::streamoff>(entries));
    pending_.push_back(number(4));
  }

  /// Whether the values of an entry lie within the file (TIFF 6.0: up to four bytes stand in the entry itself).
  [[nodiscard]] bool fits(std::uint32_t type, std::uint32_t count, std::uint32_t value) const {
    constexpr std::array<std::uint8_t, 14> kBytes{0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8, 4};
    const std::uint64_t bytes = std::uint64_t{count} * (type < kBytes.size() ? kBytes[type] : 1);
    return bytes <= 4 || value + bytes <= size_;
  }

  void add_children(std::uint32_t count, std::uint32_t value) {
    if (count == 1) pending_.push_back(value);
    if (count < 2 || count > 8) return;
    file_.seekg(value);
    for (std::uint32_t k = 0; k < count; ++k) pending_.push_back(number(4));
  }

  /// Zero past the end of the file.
  std::uint32_t number(int size) {
    unsigned char b[4] = {};
    if (!file_.read(reinterpret_cast<char*>(b), size)) return 0;
    std::uint32_t v = 0;
    for (int i = 0; i < size; ++i) v |= static_cast<std::uint32_t>(b[little_ ? i : size - 1 - i]) << (8 * i);
    return v;
  }

  std::ifstream file_;
  std::uint64_t size_ = 0;
  bool little_ = true, raw_ = false, sound_ = true;
  std::vector<std::uint32_t> pending_;
};

}  // namespace

std::optional<FileKind> kind_of_head(std::span<const std::uint8_t> head) {
  using namespace std::string_view_literals;
  if (has(head, 0, "SIMPLE  ="sv)) return FileKind::fits;
  if (has(head, 0, "\xFF\xD8\xFF"sv)) return FileKind::jpeg;
  if (has(head, 0, "\x89PNG\r\n\x1A\n"sv)) return FileKind::png;
  if (has(head, 8, "CR\x02"sv) || has(head, 4, "ftypcrx "sv) || has(head, 0, "FUJIFILMCCD-RAW"sv) ||
      has(head, 0, "IIRO"sv) || has(head, 0, "IIRS"sv) || has(head, 0, "MMOR"sv) || has(head, 0, "IIU\0"sv) ||
      has(head, 0, "\0MRM"sv) || has(head, 0, "FOVb"sv) || has(head, 6, "HEAPCCDR"sv))
    return FileKind::raw;
  // Classic and BigTIFF.
  if (has(head, 0, "II*\0"sv) || has(head, 0, "MM\0*"sv) || has(head, 0, "II+\0"sv) || has(head, 0, "MM\0+"sv))
    return FileKind::tiff;
  return {};
}

std::optional<FileKind> kind_of_file(const std::filesystem::path& path) {
  const std::string head = read_head(path, 16);
  const auto kind = kind_of_head(bytes_of(head));
  if (kind == FileKind::tiff && (head[2] == '*' || head[3] == '*') && TiffDirectories(path).hold_raw_data())
    return FileKind::raw;
  return kind;
}

bool raw_tags_are_sound(const std::filesystem::path& path) {
  const std::string head = read_head(path, 4);
  if (head.size() < 4 || (head[2] != '*' && head[3] != '*')) return true;
  return TiffDirectories(path).raw_tags_are_sound();
}

std::string describe_head(std::span<const std::uint8_t> head) {
  using namespace std::string_view_literals;
  if (head.empty()) return "nothing";
  if (has(head, 0, "\x1F\x8B"sv)) return "a gzip-compressed file";
  if (has(head, 0, "PK\3\4"sv)) return "a ZIP archive";
  if (has(head, 0, "%PDF"sv)) return "a PDF document";
  if (has(head, 0, "GIF8"sv)) return "a GIF picture";
  if (has(head, 0, "BM"sv)) return "a BMP picture";
  if (has(head, 4, "ftyp"sv)) return "a video or HEIF container";
  if (has(head, 0, "RIFF"sv)) return "a RIFF container (video or WebP)";
  if (std::all_of(head.begin(), head.end(), [](std::uint8_t b) { return b >= 9 && b < 127 && (b < 14 || b > 31); }))
    return "text";
  if (std::all_of(head.begin(), head.end(), [](std::uint8_t b) { return b == 0; })) return "zero bytes";
  std::string bytes;
  for (std::size_t i = 0; i < std::min<std::size_t>(head.size(), 4); ++i) bytes += fmt::format(" {:02x}", head[i]);
  return "unknown content starting with bytes" + bytes;
}

std::string read_head(const std::filesystem::path& path, std::size_t bytes) {
  std::ifstream file(path, std::ios::binary);
  std::string head(bytes, '\0');
  file.read(head.data(), static_cast<std::streamsize>(bytes));
  head.resize(static_cast<std::size_t>(std::max<std::streamsize>(0, file.gcount())));
  return head;
}

}  // namespace polewright
