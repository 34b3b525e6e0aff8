#include "simulate/tiff_directory.hpp"

#include <cmath>

namespace polewright::simulate {

void append_le(std::vector<std::uint8_t>& out, std::uint64_t v, int n) {
  for (int i = 0; i < n; ++i) out.push_back(static_cast<std::uint8_t>(v >> (8 * i)));
}

void TiffDirectory::text(std::uint16_t tag, const std::string& v) {
  std::vector<std::uint8_t> raw(v.begin(), v.end());
  raw.push_back(0);
  entries_[tag] = {2, raw.size(), raw};
}

void TiffDirectory::shorts(std::uint16_t tag, const std::vector<std::uint16_t>& v) {
  Entry e{3, v.size(), {}};
  for (const auto x : v) append_le(e.value, x, 2);
  entries_[tag] = e;
}

void TiffDirectory::longs(std::uint16_t tag, const std::vector<std::uint32_t>& v) {
  Entry e{4, v.size(), {}};
  for (const auto x : v) append_le(e.value, x, 4);
  entries_[tag] = e;
}

void TiffDirectory::rationals(std::uint16_t tag, const std::vector<double>& v, std::uint32_t denominator) {
  Entry e{5, v.size(), {}};
  for (const double x : v) {
    append_le(e.value, static_cast<std::uint64_t>(std::llround(x * denominator)), 4);
    append_le(e.value, denominator, 4);
  }
  entries_[tag] = e;
}

void TiffDirectory::signed_rationals(std::uint16_t tag, const std::vector<double>& v, std::int32_t denominator) {
  Entry e{10, v.size(), {}};
  for (const double x : v) {
    append_le(e.value, static_cast<std::uint64_t>(std::llround(x * denominator)), 4);
    append_le(e.value, static_cast<std::uint64_t>(denominator), 4);
  }
  entries_[tag] = e;
}

std::size_t TiffDirectory::size() const {
  std::size_t n = 2 + 12 * entries_.size() + 4;
  for (const auto& [tag, e] : entries_)
    if (e.value.size() > 4) n += (e.value.size() + 1) & ~std::size_t{1};
  return n;
}

std::vector<std::uint8_t> TiffDirectory::laid_out(std::size_t offset) const {
  std::vector<std::uint8_t> out, tail;
  const std::size_t tail_at = offset + 2 + 12 * entries_.size() + 4;
  append_le(out, entries_.size(), 2);
  for (const auto& [tag, e] : entries_) {
    append_le(out, tag, 2);
    append_le(out, e.type, 2);
    append_le(out, e.count, 4);
    if (e.value.size() > 4) {
      append_le(out, tail_at + tail.size(), 4);
      tail.insert(tail.end(), e.value.begin(), e.value.end());
      if (tail.size() & 1) tail.push_back(0);
    } else {
      std::vector<std::uint8_t> value = e.value;
      value.resize(4, 0);
      out.insert(out.end(), value.begin(), value.end());
    }
  }
  append_le(out, 0, 4);  // no further directory
  out.insert(out.end(), tail.begin(), tail.end());
  return out;
}

}  // namespace polewright::simulate
