# Checks of the tree itself.
add_test(NAME tree.layers COMMAND ${CMAKE_SOURCE_DIR}/tools/check_layers)
set_tests_properties(tree.layers PROPERTIES LABELS tree)
add_test(NAME tree.readme COMMAND ${CMAKE_SOURCE_DIR}/tools/check_readme $<TARGET_FILE:polewright>)
set_tests_properties(tree.readme PROPERTIES LABELS tree)
