// Values as bytes and back, for what the cache keeps.
#pragma once

#include <cstdint>
#include <cstring>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <vector>

#include "session/night_hash.hpp"

namespace polewright::session {

class Writer {
 public:
  template <class T>
  requires std::is_trivially_copyable_v<T>
  void operator()(const T& v) { bytes_.append(reinterpret_cast<const char*>(&v), sizeof v); }
  void operator()(const std::string& v) {
    (*this)(static_cast<std::uint32_t>(v.size()));
    bytes_ += v;
  }
  template <class T>
  void operator()(const std::vector<T>& v) {
    (*this)(static_cast<std::uint32_t>(v.size()));
    for (const T& item : v) (*this)(item);
  }
  template <class T>
  void optional(const std::optional<T>& v) {
    (*this)(static_cast<std::uint8_t>(v.has_value()));
    if (v) fields(*v);
  }
  template <class T>
  void fields(const T& v) {
    visit(*this, v);
  }
  std::string bytes_;
};

class Reader {
 public:
  explicit Reader(std::string_view bytes) : bytes_(bytes) {}

  template <class T>
  requires std::is_trivially_copyable_v<T>
  void operator()(T& v) {
    if (const char* from = take(sizeof v)) std::memcpy(&v, from, sizeof v);
  }
  void operator()(std::string& v) {
    const std::size_t n = length(1);
    if (const char* from = take(n)) v.assign(from, n);
  }
  template <class T>
  void operator()(std::vector<T>& v) {
    v.resize(length(std::is_trivially_copyable_v<T> ? sizeof(T) : 4));
    for (T& item : v) (*this)(item);
  }
  template <class T>
  void optional(std::optional<T>& v) {
    std::uint8_t has = 0;
    (*this)(has);
    v.reset();
    if (has != 0 && good_) visit(*this, v.emplace());
  }
  [[nodiscard]] bool complete() const { return good_ && bytes_.empty(); }

 private:
  const char* take(std::size_t n) {
    if (!good_ || n > bytes_.size()) {
      good_ = false;
      return nullptr;
    }
    const char* from = bytes_.data();
    bytes_.remove_prefix(n);
    return from;
  }
  /// A count that the bytes left can hold.
  std::size_t length(std::size_t item_size) {
    std::uint32_t n = 0;
    (*this)(n);
    if (good_ && static_cast<std::size_t>(n) * item_size <= bytes_.size()) return n;
    good_ = false;
    return 0;
  }
  std::string_view bytes_;
  bool good_ = true;
};

// How a value inside an optional is written: plain ones whole, values with an origin by their parts.
template <class Io, class T>
requires std::is_trivially_copyable_v<std::remove_const_t<T>>
void visit(Io& io, T& v) {
  io(v);
}
template <class Io, class S>
requires requires(S s) {
  s.source;
  s.value;
}
void visit(Io& io, S& s) {
  io(s.value);
  io(s.source);
}
template <class Io, class S>
requires requires(S s) {
  s.source;
  s.centre;
}
void visit(Io& io, S& s) {
  io(s.centre);
  io(s.source);
}

/// The bytes written with their hash behind them; and a reader on them, or nothing when they are damaged.
[[nodiscard]] inline std::string sealed(Writer out) {
  const std::uint64_t check = hash_bytes(out.bytes_);
  out(check);
  return std::move(out.bytes_);
}
[[nodiscard]] inline std::optional<Reader> opened(std::string_view bytes) {
  std::uint64_t check = 0;
  if (bytes.size() < sizeof check) return {};
  std::memcpy(&check, bytes.data() + bytes.size() - sizeof check, sizeof check);
  bytes.remove_suffix(sizeof check);
  if (hash_bytes(bytes) != check) return {};
  return Reader(bytes);
}

}  // namespace polewright::session
