// A TIFF directory under construction: tags with their values, laid out little-endian (TIFF 6.0).
#pragma once

#include <cstdint>
#include <map>
#include <string>
#include <vector>

namespace polewright::simulate {

class TiffDirectory {
 public:
  void bytes(std::uint16_t tag, const std::vector<std::uint8_t>& v) { entries_[tag] = {1, v.size(), v}; }
  void undefined(std::uint16_t tag, const std::vector<std::uint8_t>& v) { entries_[tag] = {7, v.size(), v}; }
  void text(std::uint16_t tag, const std::string& v);
  void shorts(std::uint16_t tag, const std::vector<std::uint16_t>& v);
  void longs(std::uint16_t tag, const std::vector<std::uint32_t>& v);
  /// Unsigned fractions with the given denominator.
  void rationals(std::uint16_t tag, const std::vector<double>& v, std::uint32_t denominator);
  void signed_rationals(std::uint16_t tag, const std::vector<double>& v, std::int32_t denominator);

  [[nodiscard]] std::size_t size() const;
  /// The directory as it stands at file offset `offset`, values that do not fit their entry after it.
  [[nodiscard]] std::vector<std::uint8_t> laid_out(std::size_t offset) const;

 private:
  struct Entry {
    std::uint16_t type = 0;
    std::size_t count = 0;
    std::vector<std::uint8_t> value;
  };
  std::map<std::uint16_t, Entry> entries_;  // TIFF wants ascending tags
};

/// Appends the low `n` bytes of v, least significant first.
void append_le(std::vector<std::uint8_t>& out, std::uint64_t v, int n);

}  // namespace polewright::simulate
