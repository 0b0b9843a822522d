# Run by cpack when everything is installed into its staging folder and before the package is made
# of it: adds what Debian wants and `cmake --install` leaves alone.
set(root ${CPACK_TEMPORARY_INSTALL_DIRECTORY})
set(doc ${root}/usr/share/doc/subslabd)
set(packaging ${CPACK_SUBSLAB_SOURCE}/systemd/package)

# The settings, which belong to the operator from then on (conffiles), and a folder for systems.
# 0640: somebody may write a secret into them; postinst gives them to the group.
file(MAKE_DIRECTORY ${root}/etc/subslabd/systems)
file(COPY ${CPACK_SUBSLAB_SOURCE}/config/subslabd.yaml DESTINATION ${root}/etc/subslabd)

# Debian's names for the licence and the list of changes.
file(REMOVE ${doc}/LICENSE ${doc}/CHANGELOG.md)
file(READ ${CPACK_SUBSLAB_SOURCE}/LICENSE licence)
file(READ ${packaging}/debian/copyright copyright)
string(REPLACE "@LICENSE@" "${licence}" copyright "${copyright}")
file(WRITE ${doc}/copyright "${copyright}")
execute_process(
    COMMAND sh ${packaging}/changelog.sh ${CPACK_SUBSLAB_SOURCE}/CHANGELOG.md
            "${CPACK_PACKAGE_CONTACT}"
    OUTPUT_FILE ${doc}/changelog COMMAND_ERROR_IS_FATAL ANY)
file(COPY ${packaging}/debian/lintian-overrides DESTINATION ${root}/usr/share/lintian/overrides)
file(RENAME ${root}/usr/share/lintian/overrides/lintian-overrides
     ${root}/usr/share/lintian/overrides/subslabd)

file(GLOB manual_pages ${root}/usr/share/man/man*/*.[1578])
execute_process(COMMAND gzip -9nf ${doc}/changelog ${manual_pages} COMMAND_ERROR_IS_FATAL ANY)

# The same whatever the umask of whoever builds.
execute_process(COMMAND chmod -R u=rwX,go=rX ${root} COMMAND_ERROR_IS_FATAL ANY)
execute_process(COMMAND chmod 0640 ${root}/etc/subslabd/subslabd.yaml COMMAND_ERROR_IS_FATAL ANY)
