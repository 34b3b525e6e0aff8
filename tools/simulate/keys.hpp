// Reading TOML tables key by key, with every surprise reported.
#pragma once

#include <fmt/format.h>
#include <toml++/toml.h>

#include <array>
#include <cstdint>
#include <initializer_list>
#include <optional>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include "polewright/angle.hpp"

namespace polewright::simulate {

/// What a key may not be; leaves the reader by exception and becomes a Result at the door.
struct Refused {
  std::string found, expected;
};

/// One table being read: remembers which keys were asked for, so that a misspelt one does not pass silently.
class Keys {
 public:
  Keys(const toml::table& table, std::string path) : table_(table), path_(std::move(path)) {}

  void number(const char* key, double& value) {
    const auto* node = look(key);
    if (node == nullptr) return;
    const auto v = node->value<double>();
    if (!v) refuse(key, "a number");
    value = *v;
  }
  void number(const char* key, int& value) {
    double v = value;
    number(key, v);
    value = static_cast<int>(v);
  }
  void number(const char* key, std::uint64_t& value) {
    double v = static_cast<double>(value);
    number(key, v);
    if (v < 0.0) refuse(key, "a number that is not negative");
    value = static_cast<std::uint64_t>(v);
  }
  void number(const char* key, std::optional<double>& value) {
    double v = 0.0;
    if (table_.contains(key)) {
      number(key, v);
      value = v;
    }
  }
  void numbers(const char* key, std::array<double, 4>& values) {
    const auto* node = look(key);
    if (node == nullptr) return;
    const auto* list = node->as_array();
    if (list == nullptr || list->size() != values.size()) refuse(key, "four numbers");
    for (std::size_t i = 0; i < values.size(); ++i) {
      const auto v = (*list)[i].value<double>();
      if (!v) refuse(key, "four numbers");
      values[i] = *v;
    }
  }
  void deg(const char* key, Angle& value) { angle(key, value, Angle::deg(1)); }
  void arcmin(const char* key, Angle& value) { angle(key, value, Angle::arcmin(1)); }
  void arcsec(const char* key, Angle& value) { angle(key, value, Angle::arcsec(1)); }
  void flag(const char* key, bool& value) {
    const auto* node = look(key);
    if (node == nullptr) return;
    const auto v = node->value_exact<bool>();
    if (!v) refuse(key, "true or false");
    value = *v;
  }
  void text(const char* key, std::string& value) {
    const auto* node = look(key);
    if (node == nullptr) return;
    const auto v = node->value_exact<std::string>();
    if (!v) refuse(key, "a text in quotes");
    value = *v;
  }
  template <class T>
  void word(const char* key, T& value, std::initializer_list<std::pair<const char*, T>> words) {
    std::string v;
    text(key, v);
    if (v.empty()) return;
    std::string known;
    for (const auto& [name, meaning] : words) {
      if (v == name) {
        value = meaning;
        return;
      }
      known += fmt::format("{}{}", known.empty() ? "" : ", ", name);
    }
    refuse(key, "one of " + known);
  }
  [[nodiscard]] bool has(const char* key) const { return table_.contains(key); }
  /// Reads the table under `key`, when it is there.
  template <class Read>
  bool table(const char* key, Read read) {
    const auto* node = look(key);
    if (node == nullptr) return false;
    const auto* inner = node->as_table();
    if (inner == nullptr) refuse(key, "a table");
    Keys keys(*inner, path_ + key + ".");
    read(keys);
    keys.finish();
    return true;
  }
  /// Reads each table of the array under `key`.
  template <class T, class Read>
  void tables(const char* key, std::vector<T>& list, Read read) {
    const auto* node = look(key);
    if (node == nullptr) return;
    const auto* array = node->as_array();
    if (array == nullptr) refuse(key, "an array of tables");
    for (const auto& item : *array) {
      if (!item.is_table()) refuse(key, "an array of tables");
      Keys keys(*item.as_table(), path_ + key + ".");
      read(keys, list.emplace_back());
      keys.finish();
    }
  }
  void finish() const {
    for (const auto& [key, node] : table_)
      if (!asked_.contains(std::string(key.str())))
        throw Refused{fmt::format("unknown key {}{}", path_, key.str()), "a key of tools/simulate/scene_example.toml"};
  }
  [[noreturn]] void refuse(const char* key, const std::string& expected) const {
    throw Refused{fmt::format("{}{}", path_, key), expected};
  }

 private:
  const toml::node* look(const char* key) {
    asked_.insert(key);
    return table_.get(key);
  }
  void angle(const char* key, Angle& value, Angle unit) {
    double v = value / unit;
    number(key, v);
    value = unit * v;
  }

  const toml::table& table_;
  std::string path_;
  std::set<std::string> asked_;
};

}  // namespace polewright::simulate
