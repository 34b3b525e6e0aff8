// Result<T>: what a stage returns when the data, not the program, may be at fault.
#pragma once

#include <cassert>
#include <optional>
#include <string>
#include <utility>
#include <variant>

namespace polewright {

enum class ErrorCode {
  file_missing,
  file_unreadable,
  format_unknown,
  file_truncated,
  file_unsupported,
  metadata_missing,
  site_missing,
  time_missing,
  time_zone_missing,
  optics_missing,
  frames_differ,
  same_frame_twice,
  too_few_frames,
  option_invalid,
  config_invalid,
  catalogue_missing,
  write_failed,
  cancelled,
};

/// What went wrong with the input: the file it concerns (may be empty), what was found, what was expected, what to try.
struct Error {
  ErrorCode code{};
  std::string file;
  std::string found;
  std::string expected;
  std::string try_this;

  /// One line for people: "FILE: FOUND; expected EXPECTED. TRY".
  [[nodiscard]] std::string message() const;
};

/// Either a value or an Error. Reading the wrong one is a programming error and asserts.
template <class T>
class [[nodiscard]] Result {
 public:
  Result(T value) : state_(std::in_place_index<0>, std::move(value)) {}      // NOLINT(google-explicit-constructor)
  Result(Error error) : state_(std::in_place_index<1>, std::move(error)) {}  // NOLINT(google-explicit-constructor)

  [[nodiscard]] bool ok() const { return state_.index() == 0; }
  explicit operator bool() const { return ok(); }

  [[nodiscard]] const T& value() const& {
    assert(ok());
    return *std::get_if<0>(&state_);
  }
  [[nodiscard]] T& value() & {
    assert(ok());
    return *std::get_if<0>(&state_);
  }
  [[nodiscard]] T&& value() && {
    assert(ok());
    return std::move(*std::get_if<0>(&state_));
  }
  const T& operator*() const& { return value(); }
  T& operator*() & { return value(); }
  const T* operator->() const { return &value(); }
  T* operator->() { return &value(); }

  [[nodiscard]] const Error& error() const {
    assert(!ok());
    return *std::get_if<1>(&state_);
  }

 private:
  std::variant<T, Error> state_;
};

/// Result of an action that gives nothing back: empty on success.
using Status = std::optional<Error>;

}  // namespace polewright
