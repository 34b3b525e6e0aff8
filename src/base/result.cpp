#include "polewright/result.hpp"

namespace polewright {

std::string Error::message() const {
  std::string text = file.empty() ? found : file + ": " + found;
  if (!expected.empty()) text += "; expected " + expected;
  text += ".";
  if (!try_this.empty()) text += " " + try_this + ".";
  return text;
}

}  // namespace polewright
