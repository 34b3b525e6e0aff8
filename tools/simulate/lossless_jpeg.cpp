#include "simulate/lossless_jpeg.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cassert>

namespace polewright::simulate {
namespace {

constexpr std::size_t kCategories = 17;  // bits of a difference, 0 to 16

/// Calls body(difference) for every sample in scan order. Predictor 1: the left neighbour of the same component; the
/// first of a row takes the one above; the very first, half the range.
template <class Body>
void for_each_difference(const std::vector<std::uint16_t>& samples, int width, int height, int precision, Body body) {
  for (int y = 0; y < height; ++y) {
    const std::uint16_t* row = samples.data() + static_cast<std::size_t>(y) * static_cast<std::size_t>(width);
    for (int x = 0; x < width; ++x) {
      const int predicted = x > 1 ? row[x - 2] : y > 0 ? row[x - width] : 1 << (precision - 1);
      body(static_cast<std::int16_t>(static_cast<std::uint16_t>(row[x] - predicted)));
    }
  }
}

std::size_t category(int difference) {
  return static_cast<std::size_t>(std::bit_width(static_cast<unsigned>(std::abs(difference))));
}

/// Huffman code lengths (merge the two rarest, again and again); a reserved symbol keeps the all-ones word free.
std::array<int, kCategories> code_lengths(std::array<std::uint64_t, kCategories> counts) {
  while (true) {
    struct Group {
      std::uint64_t count;
      std::vector<std::size_t> symbols;
    };
    std::array<int, kCategories + 1> lengths{};
    std::vector<Group> groups{{1, {kCategories}}};
    for (std::size_t s = 0; s < kCategories; ++s)
      if (counts[s] > 0) groups.push_back({2 * counts[s], {s}});
    while (groups.size() > 1) {
      std::sort(groups.begin(), groups.end(), [](const Group& a, const Group& b) { return a.count > b.count; });
      Group last = std::move(groups.back());
      groups.pop_back();
      Group& into = groups.back();
      into.count += last.count;
      into.symbols.insert(into.symbols.end(), last.symbols.begin(), last.symbols.end());
      for (const std::size_t s : into.symbols) ++lengths[s];
    }
    std::array<int, kCategories> out{};
    std::copy_n(lengths.begin(), kCategories, out.begin());
    if (*std::max_element(lengths.begin(), lengths.end()) <= 16) return out;
    for (auto& c : counts) c = c > 0 ? c / 2 + 1 : 0;  // flatter counts, shorter words
  }
}

struct Code {
  std::vector<std::uint8_t> symbols;  // by growing length
  std::array<std::uint8_t, 16> per_length{};
  std::array<std::uint32_t, kCategories> word{};
  std::array<int, kCategories> length{};
};

Code make_code(const std::array<std::uint64_t, kCategories>& counts) {
  Code code;
  code.length = code_lengths(counts);
  std::uint32_t next = 0;
  for (int bits = 1; bits <= 16; ++bits, next <<= 1) {
    for (std::size_t s = 0; s < kCategories; ++s) {
      if (code.length[s] != bits) continue;
      code.symbols.push_back(static_cast<std::uint8_t>(s));
      ++code.per_length[static_cast<std::size_t>(bits - 1)];
      code.word[s] = next++;
    }
  }
  return code;
}

class BitStream {
 public:
  explicit BitStream(std::vector<std::uint8_t>& out) : out_(out) {}
  void put(std::uint32_t bits, int n) {
    held_ = (held_ << n) | bits;
    for (count_ += n; count_ >= 8; count_ -= 8) emit(static_cast<std::uint8_t>(held_ >> (count_ - 8)));
  }
  void finish() {
    if (count_ > 0) put((1U << (8 - count_)) - 1U, 8 - count_);
  }

 private:
  void emit(std::uint8_t byte) {
    out_.push_back(byte);
    if (byte == 0xFF) out_.push_back(0);
  }
  std::vector<std::uint8_t>& out_;
  std::uint64_t held_ = 0;
  int count_ = 0;
};

void put_be(std::vector<std::uint8_t>& out, unsigned v) {
  out.push_back(static_cast<std::uint8_t>(v >> 8));
  out.push_back(static_cast<std::uint8_t>(v));
}

void put_headers(std::vector<std::uint8_t>& out, const Code& code, int width, int height, int precision) {
  put_be(out, 0xFFD8);
  put_be(out, 0xFFC4);
  put_be(out, static_cast<unsigned>(2 + 17 + code.symbols.size()));
  out.push_back(0);
  out.insert(out.end(), code.per_length.begin(), code.per_length.end());
  out.insert(out.end(), code.symbols.begin(), code.symbols.end());
  put_be(out, 0xFFC3);
  put_be(out, 8 + 3 * 2);
  out.push_back(static_cast<std::uint8_t>(precision));
  put_be(out, static_cast<unsigned>(height));
  put_be(out, static_cast<unsigned>(width / 2));
  out.insert(out.end(), {2, 0, 0x11, 0, 1, 0x11, 0});
  put_be(out, 0xFFDA);
  put_be(out, 6 + 2 * 2);
  out.insert(out.end(), {2, 0, 0, 1, 0, 1, 0, 0});  // both components use table 0; predictor 1
}

}  // namespace

std::vector<std::uint8_t> lossless_jpeg(const std::vector<std::uint16_t>& samples, int width, int height,
                                        int precision) {
  assert(width % 2 == 0 && width / 2 < 65536 && height < 65536 && precision >= 2 && precision <= 16);
  std::array<std::uint64_t, kCategories> counts{};
  for_each_difference(samples, width, height, precision, [&](int d) { ++counts[category(d)]; });
  const Code code = make_code(counts);
  std::vector<std::uint8_t> out;
  out.reserve(samples.size() * 3 / 2);
  put_headers(out, code, width, height, precision);
  BitStream bits(out);
  for_each_difference(samples, width, height, precision, [&](int d) {
    const std::size_t c = category(d);
    bits.put(code.word[c], code.length[c]);
    if (c > 0 && c < 16) bits.put(static_cast<std::uint32_t>(d > 0 ? d : d + (1 << c) - 1), static_cast<int>(c));
  });
  bits.finish();
  put_be(out, 0xFFD9);
  return out;
}

}  // namespace polewright::simulate
