// One file to another name: whole or not at all, never over a file that is there, whatever ends the program meanwhile.
#pragma once

#include <filesystem>
#include <string>

#include "polewright/night.hpp"

namespace polewright::session {

/// Moves or copies `from` to `to`, whose folder must exist. Empty on success, else why not, and `from` stands as it
/// did. At every moment the whole file stands under one of the two names, and `to` never holds a part of it. What a
/// killed run left undone is finished: a file copied already counts as copied, a move takes the original away only when
/// the copy that stands there is known to be this program's own and has the same bytes. A symbolic link stays a link to
/// the same file.
[[nodiscard]] std::string transfer(const std::filesystem::path& from, const std::filesystem::path& to,
                                   FileAction action);

/// What a rehearsal can see of it: empty when `transfer` would be tried.
[[nodiscard]] std::string transfer_refused(const std::filesystem::path& from, const std::filesystem::path& to,
                                           FileAction action);

/// Removes from a folder the second, hidden names of finished files that a killed run left. The files stay.
void tidy_after_killed(const std::filesystem::path& folder);

}  // namespace polewright::session
