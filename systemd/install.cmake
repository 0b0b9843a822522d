# cmake --install: the two programs, the units, the account and the folders, examples, manual pages
# and completion. Settings in /etc are never touched: the examples go to the documentation.
#     cmake --install build --prefix /usr/local
include(GNUInstallDirs)

foreach(program subslabd subslabctl)
    if(TARGET ${program})
        install(TARGETS ${program} RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})
    endif()
endforeach()

# The units name the program and the documentation by their whole path, which is known only when
# the prefix is.
install(CODE "
    foreach(unit subslabd.service subslabd@.service subslabd-backup@.service
            subslabd-backup@.timer)
        file(READ \"${CMAKE_CURRENT_LIST_DIR}/\${unit}\" text)
        string(REPLACE \"/usr/bin/\" \"\${CMAKE_INSTALL_PREFIX}/${CMAKE_INSTALL_BINDIR}/\" text \"\${text}\")
        string(REPLACE \"file:///usr/share/doc/\"
               \"file://\${CMAKE_INSTALL_PREFIX}/${CMAKE_INSTALL_DATAROOTDIR}/doc/\" text \"\${text}\")
        set(target \"\$ENV{DESTDIR}\${CMAKE_INSTALL_PREFIX}/lib/systemd/system/\${unit}\")
        message(STATUS \"Installing: \${target}\")
        file(WRITE \"\${target}\" \"\${text}\")
    endforeach()")
install(FILES ${CMAKE_CURRENT_LIST_DIR}/subslabd.sysusers.conf
        DESTINATION lib/sysusers.d RENAME subslabd.conf)
install(FILES ${CMAKE_CURRENT_LIST_DIR}/subslabd.tmpfiles.conf
        DESTINATION lib/tmpfiles.d RENAME subslabd.conf)

install(FILES ${CMAKE_SOURCE_DIR}/README.md ${CMAKE_CURRENT_LIST_DIR}/BROKER.md
        ${CMAKE_CURRENT_LIST_DIR}/SCALE.md ${CMAKE_CURRENT_LIST_DIR}/PROXY.md
        ${CMAKE_CURRENT_LIST_DIR}/SENDERS.md
        ${CMAKE_SOURCE_DIR}/tests/bench/FIGURES.md
        ${CMAKE_SOURCE_DIR}/CHANGELOG.md ${CMAKE_SOURCE_DIR}/LICENSE
        ${CMAKE_SOURCE_DIR}/daemon/api/openapi.yaml
        DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/doc/subslabd)
install(FILES ${CMAKE_SOURCE_DIR}/config/subslabd.yaml
        ${CMAKE_SOURCE_DIR}/config/commissioning-example.yaml
        DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/doc/subslabd/examples)
install(DIRECTORY ${CMAKE_CURRENT_LIST_DIR}/prometheus ${CMAKE_CURRENT_LIST_DIR}/container
        DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/doc/subslabd)
install(DIRECTORY ${CMAKE_SOURCE_DIR}/config/systems
        DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/doc/subslabd/examples)

foreach(section 1 5 7 8)
    file(GLOB pages CONFIGURE_DEPENDS ${CMAKE_SOURCE_DIR}/daemon/man/*.${section})
    if(pages)
        install(FILES ${pages} DESTINATION ${CMAKE_INSTALL_MANDIR}/man${section})
    endif()
endforeach()
install(FILES ${CMAKE_SOURCE_DIR}/daemon/tool/completion/subslabctl.bash
        DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/bash-completion/completions RENAME subslabctl)
install(FILES ${CMAKE_SOURCE_DIR}/daemon/tool/completion/_subslabctl
        DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/zsh/vendor-completions)
install(FILES ${CMAKE_SOURCE_DIR}/daemon/tool/completion/subslabctl.fish
        DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/fish/vendor_completions.d)
